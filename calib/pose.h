// Where a camera looks: pan, tilt and roll, or the same thing as a rotation matrix.
//
// World: right-handed, X right, Y forward, Z up (OpenTrackIO). The camera's own axes are the same
// at rest: X right in the picture, Y along the optical axis, Z up in the picture.
//     world = Rz(pan) Rx(tilt) Ry(roll) ray           (intrinsic, about Z, X, Y)
// Pan is positive to the left, tilt positive up, roll positive clockwise seen from behind the
// camera.
#pragma once

#include <vector>

#include "calib/sensor.h"

namespace plateloom::calib {

struct PanTiltRoll {
    double pan_deg = 0;
    double tilt_deg = 0;
    double roll_deg = 0;
};

[[nodiscard]] Matrix3d worldFromCamera(const PanTiltRoll& pose);

/// The inverse of worldFromCamera; pan and roll in (-180, 180], tilt in [-90, 90]. At tilt +-90,
/// where pan and roll turn about the same axis, roll is 0.
[[nodiscard]] PanTiltRoll panTiltRoll(const Matrix3d& worldFromCamera);

/// Angle in degrees of the rotation `a`ᵀ`b`, in [0, 180]; accurate for tiny angles.
[[nodiscard]] double angleBetween_deg(const Matrix3d& a, const Matrix3d& b);

/// The rotation nearest to `m` in the Frobenius norm (SVD).
[[nodiscard]] Matrix3d nearestRotation(const Matrix3d& m);

/// The least turn that brings one direction onto another; neither need be a unit vector.
[[nodiscard]] Matrix3d shortestTurn(const Vector3d& from, const Vector3d& to);

/// The rotation R that brings `to[i] ≈ R from[i]` for matrices, i.e. the one global alignment
/// between two sets of orientations (least squares in the Frobenius norm). Sizes must be equal and
/// not zero.
[[nodiscard]] Matrix3d alignOrientations(const std::vector<Matrix3d>& from,
                                         const std::vector<Matrix3d>& to);

}  // namespace plateloom::calib
