// A lens's picture as a shape among directions: which rays end inside the recorded frame.
//
// A ray (x, y, z) with y > 0 has flat coordinates u = x / y, v = z / y, and the recorded frame is a
// region of that plane: bulged for a barrel lens, which sees more than its focal length says, drawn
// in for a pincushion. The region is kept as its reach in every direction from the optical axis,
// so that a question costs tens of nanoseconds, where the lens itself may have to be inverted.
#pragma once

#include <algorithm>
#include <cmath>
#include <vector>

#include "calib/lens.h"

namespace plateloom::calib {

class FrameOutline {
public:
    /// The optical axis must lie inside the picture; see `seesItsAxis`.
    explicit FrameOutline(const LensMap& lens);
    /// False where a shifted lens looks past its own axis: then nothing is inside.
    [[nodiscard]] bool seesItsAxis() const { return widest_ > 0; }

    /// Exact for straight borders, right to a millionth of the reach for bent ones, and on the safe
    /// side at the corners.
    [[nodiscard]] bool contains(double u, double v) const {
        const double norm = std::abs(u) + std::abs(v);
        if (norm == 0) return widest_ > 0;
        const double up = v / norm;
        const double turn = (u < 0 ? 2 - up : v < 0 ? 4 + up : up) * (kDirections / 4);
        const int i = std::min(int(turn), kDirections - 1);
        const double t = turn - i;
        return norm * (nearness_[size_t(i)] * (1 - t) + nearness_[size_t(i) + 1] * t) <= 1;
    }
    [[nodiscard]] bool contains(const Vector3d& ray) const {
        return ray.y() > 0 && contains(ray.x() / ray.y(), ray.z() / ray.y());
    }

    /// The full angle across the axis, horizontally and vertically, degrees.
    [[nodiscard]] double across_deg() const;
    [[nodiscard]] double upright_deg() const;
    /// From the axis to the furthest corner.
    [[nodiscard]] double reach_deg() const;

private:
    // Directions are evenly spread along the square |u| + |v| = 1, which spares the arc tangent;
    // and between two of them the inverse of the reach, in that norm, is linear along a straight
    // border.
    static constexpr int kDirections = 1440;
    [[nodiscard]] static Vector2d direction(int i);
    std::vector<double> nearness_;  // 1 / reach in the norm |u| + |v|
    double widest_ = 0;             // in flat units
};

/// Rays through about `count` places spread evenly over the recorded picture: each stands for as
/// many pixels. The places form a lattice turned by the golden ratio, so that no row of them lies
/// along a border, and a share of them is right to about 1 / `count`.
[[nodiscard]] std::vector<Vector3d> raysOverPicture(const LensMap& lens, int count);

}  // namespace plateloom::calib
