// What a place on a wall, the ground or a box is made of.
#pragma once

#include "world/square_plan.h"

namespace plateloom::world {

struct Surface {
    Rgb albedo{0, 0, 0};
    Rgb emitted{0, 0, 0};  ///< of its own: a lit window
    float mirror = 0;      ///< share of wet, mirroring surface, before Fresnel
    float sky = 0;         ///< share of the sky that glass gives back by day
};

/// Height above the ground at which a house ends, at `along_m` of its wall.
[[nodiscard]] double topOf(const House& house, double along_m);
[[nodiscard]] const House& houseAt(const Wall& wall, double along_m);
[[nodiscard]] inline double topOf(const Wall& wall, double along_m) {
    return topOf(houseAt(wall, along_m), along_m);
}

/// A place on a front: metres along the wall and above the ground. `detail` is 1 for the square's
/// own walls; those far behind leave out what would be finer than a plate's pixel (0).
[[nodiscard]] Surface frontAt(const House& house, double along_m, double above_m, bool detail);

/// A place on a box: metres along the face from its middle and above its bottom; `face` 0..3.
[[nodiscard]] Surface boxAt(const Block& block, int face, double along_m, double above_m);

/// A place on a post: angle round it times its radius, and height.
[[nodiscard]] Surface postAt(const Post& post, double round_m, double height_m);

/// A place on the ground.
[[nodiscard]] Surface groundAt(const SquarePlan& plan, double x_m, double y_m);

/// Radiance of the sky in a direction (unit vector, Z up).
struct Sky {
    Light light = Light::night;
    Vector3d towardSun{0.5, 0.5, 0.7};
    uint32_t seed = 1;
    [[nodiscard]] Rgb radiance(const Vector3d& direction) const;
};

}  // namespace plateloom::world
