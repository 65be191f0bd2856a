// A small turn as a vector: its axis, as long as its angle in radians.
#pragma once

#include <Eigen/Geometry>

#include "calib/sensor.h"

namespace plateloom::calib {

[[nodiscard]] inline Matrix3d rotationOf(const Vector3d& vector_rad) {
    const double angle = vector_rad.norm();
    if (angle < 1e-15) return Matrix3d::Identity();
    return Eigen::AngleAxisd(angle, vector_rad / angle).toRotationMatrix();
}

/// The inverse; its length is 0 to pi.
[[nodiscard]] inline Vector3d rotationVector(const Matrix3d& rotation) {
    const Eigen::AngleAxisd turn(rotation);
    return turn.angle() * turn.axis();
}

}  // namespace plateloom::calib
