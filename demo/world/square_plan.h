// The lay-out of an invented town square, drawn from a seed: which walls stand round it, how high
// each house is, where lamps, posts and the kiosk stand. Metres, Z up; the middle of the shoot (the
// tripod's nodal point) is the origin, and the ground lies 1.6 m below it.
#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <optional>
#include <vector>

namespace plateloom::world {

using Eigen::Vector2d;
using Eigen::Vector3d;
using Rgb = Eigen::Array3f;  ///< linear light, 1 is diffuse white in full light

constexpr double kGround_m = -1.6;

enum class Light { night, day, constant };

enum class Finish { plaster, brick, panels };

/// One front in a row of houses. Every house of the square has the same window: same size, same
/// bars, same curtains. That is meant: it is what leads matchers astray.
struct House {
    double from_m = 0, to_m = 0;  ///< along the wall
    double eaves_m = 10;          ///< above the ground
    double gable_m = 0;           ///< rise of the gable above the eaves, 0 for a flat top
    double chimney_at_m = 0;      ///< along the wall
    int floors = 3;
    Finish finish = Finish::plaster;
    Rgb albedo{0.5f, 0.45f, 0.4f};
    bool posters = false, shop = false;
    float texture = 1;         ///< strength of what does not repeat
    bool lit_by_rule = false;  ///< every third window, instead of by chance
    uint32_t seed = 0;
};

/// A straight row of houses. The walls of a ring are convex and closed seen from above.
struct Wall {
    Vector2d start, along, inward;  ///< unit vectors
    double length_m = 0;
    std::vector<House> houses;
};

struct Lamp {
    Vector3d centre;
    double radius_m = 0.1;
    Rgb radiance{400, 400, 400};
};

/// An upright cylinder.
struct Post {
    Vector2d foot;
    double radius_m = 0.05, bottom_m = kGround_m, top_m = 0;
    Rgb albedo{0.1f, 0.1f, 0.1f};
    bool rough = false;  ///< worn stone rather than painted iron
    uint32_t seed = 0;
};

/// An upright box.
struct Block {
    enum class Kind { kiosk, tram } kind = Kind::kiosk;
    Vector2d centre, along;  ///< `along` is the unit vector of its length
    double half_length_m = 1, half_width_m = 1, bottom_m = kGround_m, top_m = 1;
    uint32_t seed = 0;
};

struct SquarePlan {
    std::vector<Wall> near_ring, far_ring;
    std::vector<Lamp> lamps;
    std::vector<Post> posts;
    std::vector<Block> blocks;
    double tram_line_m = 12;  ///< the tram runs along y = this
    float texture = 1;
    uint32_t seed = 1;
};

/// `texture` scales whatever does not repeat: plaster, stains, the tint of bricks and slabs,
/// leaves. Below a half the houses also share colour, finish and the pattern of lit windows, so
/// that little but repetition is left.
[[nodiscard]] SquarePlan planSquare(uint32_t seed, float texture);

/// Where a level ray leaves the ring: the wall it meets and how many times `direction` away.
/// `origin` has to lie inside.
struct RingHit {
    int wall = -1;
    double times = 0;
};
[[nodiscard]] RingHit leaveRing(const std::vector<Wall>& ring, const Vector2d& origin,
                                const Vector2d& direction);

/// Someone who runs straight across the square.
struct Runner {
    Vector2d from_m{0, 6};  ///< at time 0
    Vector2d speed_mps{0, 0};
};

/// What stands elsewhere at another time: the tram, two people on foot, and who runs, if anyone.
struct Movers {
    std::vector<Block> blocks;
    std::vector<Post> posts;
};
[[nodiscard]] Movers moversAt(const SquarePlan& plan, double time_s,
                              const std::optional<Runner>& runner = std::nullopt);

/// A street lamp about to fail: it dips again and again, and what it lights dips with it.
struct Flicker {
    int lamp = 0;         ///< which of the plan's; not one of the small bulbs
    float depth = 0.65f;  ///< share of its light that the deepest dip takes
    double hz = 4;        ///< dips and recoveries a second, about
};
/// Share of its light that the lamp gives, 1 - depth to 1; smooth in time.
[[nodiscard]] float levelAt(const Flicker& flicker, double time_s);

}  // namespace plateloom::world
