// The invented town square as light: the radiance that arrives along a ray, at a time. White in
// full light is 1; at night walls lie at 0.01 to 0.3 and lamps at 400, by day the sun at 5000.
//
//     const Scene scene({.seed = 3, .light = Light::night});
//     const SceneView view = scene.seenFrom(Vector3d::Zero(), 12.0);
//     const Rgb radiance = view.radiance(direction);
//
// Radiance is a pure function of place, direction and time, so it is the truth that a panorama of
// the square can be compared with.
#pragma once

#include <optional>
#include <vector>

#include "world/square_plan.h"
#include "world/surface.h"

namespace plateloom::world {

struct SceneSettings {
    uint32_t seed = 1;
    Light light = Light::night;
    float texture = 1;                              ///< see planSquare
    Rgb constant{0.5f, 0.5f, 0.5f};                 ///< radiance everywhere in Light::constant
    std::optional<Runner> runner = std::nullopt;    ///< there when a time is given
    std::optional<Flicker> flicker = std::nullopt;  ///< by night, when a time is given
};

/// What lights walls and ground by night, a string of bulbs as one; unused places have no light.
/// Side by side, so that one walls' point is lit by all of them in a few vector operations.
struct LampLights {
    using Lights = Eigen::Array<float, 12, 1>;
    Lights x = Lights::Zero(), y = Lights::Zero(), z = Lights::Constant(1000.0f);
    Lights red = Lights::Zero(), green = Lights::Zero(), blue = Lights::Zero();
};

class SceneView;

class Scene {
public:
    explicit Scene(const SceneSettings& settings);

    /// The square as seen from one place (within a metre or two of the origin). Without a time
    /// nothing that moves is there.
    [[nodiscard]] SceneView seenFrom(const Vector3d& origin_m, std::optional<double> time_s) const;

    /// What stands still, and the lamp that flickers at a share of its light.
    [[nodiscard]] SceneView standingFrom(const Vector3d& origin_m, float flicker_level) const;

    [[nodiscard]] const SquarePlan& plan() const { return plan_; }
    [[nodiscard]] const SceneSettings& settings() const { return settings_; }
    [[nodiscard]] const Sky& sky() const { return sky_; }

    /// The lamps, the flickering one at a share of its light.
    [[nodiscard]] LampLights lights(float flicker_level) const;
    [[nodiscard]] Rgb lampRadiance(size_t lamp, float flicker_level) const;

    /// Light that a white surface at `point` with this normal sends back (irradiance / pi).
    [[nodiscard]] Rgb lightAt(const Vector3d& point, const Vector3d& normal,
                              const LampLights& lamps) const;

private:
    SceneSettings settings_;
    SquarePlan plan_;
    Sky sky_;
    [[nodiscard]] Rgb daylightAt(const Vector3d& point, const Vector3d& normal) const;
};

class SceneView {
public:
    SceneView(const Scene& scene, const Vector3d& origin_m, const Movers& movers,
              float flicker_level);

    /// `direction` must be a unit vector.
    [[nodiscard]] Rgb radiance(const Vector3d& direction) const;
    /// To the first solid thing (not a lamp); infinity for the sky.
    [[nodiscard]] double distance_m(const Vector3d& direction) const;
    /// To what most of the light comes from: lamps count, with the brightest of their glow.
    [[nodiscard]] double distanceOfLight_m(const Vector3d& direction) const;
    /// Whether something that moves, or its mirror image in the ground, lies in this direction,
    /// whatever stands before it.
    [[nodiscard]] bool meetsMover(const Vector3d& direction) const;

private:
    struct Ray {
        Vector3d origin, direction;
    };
    [[nodiscard]] static Ray mirrored(const Ray& ray);
    struct Hit {
        double times = 1e30;
        Surface surface;
        Vector3d normal{0, 0, 1};
    };
    struct Thing {
        enum class Kind { lamp, post, block } kind;
        int index;
    };

    /// `ground` false: what a ray from below meets, for mirror images.
    [[nodiscard]] Rgb trace(const Ray& ray, bool ground) const;
    [[nodiscard]] const std::vector<Thing>& thingsAlong(const Vector3d& direction) const;
    [[nodiscard]] Hit nearest(const Ray& ray, bool ground, const std::vector<Thing>& things) const;
    [[nodiscard]] Rgb lightFrom(const Hit& hit, const Ray& ray) const;
    [[nodiscard]] Rgb withLamps(Rgb light, const Ray& ray, double times,
                                const std::vector<Thing>& things) const;
    bool hitRing(const std::vector<Wall>& ring, bool detail, const Ray& ray, Hit& hit) const;
    void hitPost(const Post& post, const Ray& ray, Hit& hit) const;
    void hitBlock(const Block& block, const Ray& ray, Hit& hit) const;
    void file(Thing thing, const Vector2d& middle, double reach_m);

    const Scene* scene_;
    Vector3d origin_;
    LampLights lights_;
    std::vector<Rgb> lamp_radiance_;
    std::vector<Post> posts_;
    std::vector<Block> blocks_;
    size_t still_posts_ = 0, still_blocks_ = 0;  // those that move follow
    // Things by the direction in which they may be met; the bin is of a ray's plan direction.
    static constexpr int kBins = 512;
    static constexpr double kBinsPerSide = kBins / 4.0;  // of the diamond that stands for a turn
    std::vector<std::vector<Thing>> bins_;
};

}  // namespace plateloom::world
