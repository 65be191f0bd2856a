// One rotation a plate from many rotations between pairs, when nearly all of them are right.
//
// Iteratively reweighted least squares on the tangent space: Chatterjee and Govindu, Efficient and
// Robust Large-Scale Rotation Averaging, ICCV 2013, with Geman-McClure weights.
#pragma once

#include <optional>
#include <vector>

#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

struct WeightedRotation {
    int a = 0, b = 0;
    Matrix3d bFromA = Matrix3d::Identity();
    double weight = 1;
};

/// The world's rotation vector (axis times angle, radians) that would bring plate b from where it
/// is to where the pair wants it.
[[nodiscard]] Vector3d pairError(const Matrix3d& worldFromA, const Matrix3d& worldFromB,
                                 const Matrix3d& bFromA);

/// Improves the rotations that are there; pairs with a plate that has none are left out. A pair
/// that is off by more than `scale_deg` counts for little. In each connected part the plate of
/// lowest index stays where it is.
void averageRotations(std::vector<std::optional<Matrix3d>>& worldFromCamera,
                      const std::vector<WeightedRotation>& pairs, double scale_deg,
                      int iterations = 20);

}  // namespace plateloom::stitch
