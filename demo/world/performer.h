// An invented performer: someone with a hoop who crosses in front of the hero camera. Made of
// rounded rods, so that a ray meets them exactly; loose hair and the hoop are thinner than a pixel,
// so that the matte has soft edges, holes and fine detail.
//
//     const Performer performer({.pan_deg = -70, .distance_m = 4.2, .time_s = 0.5});
//     if (const auto light = performer.radiance(direction)) ...   // the ray meets the performer
#pragma once

#include <optional>
#include <vector>

#include "world/square_plan.h"

namespace plateloom::world {

struct PerformerPlace {
    double pan_deg = 0;       ///< where they stand, seen from the camera
    double distance_m = 4.2;  ///< from the camera, on level ground
    double time_s = 0;        ///< moves arms, legs and hoop
    uint32_t seed = 1;
};

/// A rod of constant radius with round ends.
struct Rod {
    enum class Cloth { skin, coat, trousers, boots, hair, hoop } cloth = Cloth::coat;
    Vector3d from, to;  ///< metres in the square, the camera at the origin
    double radius_m = 0.05;
};

class Performer {
public:
    explicit Performer(const PerformerPlace& place);

    /// Light from the performer along a unit vector from the camera; nullopt where it passes by.
    [[nodiscard]] std::optional<Rgb> radiance(const Vector3d& direction) const;
    /// Distance to the performer's surface, metres; negative within.
    [[nodiscard]] double gapAt(const Vector3d& place) const;
    /// Places (metres, the camera at the origin) whose convex hull holds the performer.
    [[nodiscard]] std::vector<Vector3d> hull() const;

private:
    // Cones that hold the rods, as seen from the camera. Side by side, so that a ray is tried
    // against all of them in a few vector operations.
    struct Cones {
        Eigen::ArrayXf x, y, z, cosine;
    };
    [[nodiscard]] Rgb lightFrom(const Rod& rod, const Vector3d& point) const;

    std::vector<Rod> rods_;
    Cones cones_;
    Vector3d middle_, key_;
    double cosine_ = 1;
    uint32_t seed_;
};

}  // namespace plateloom::world
