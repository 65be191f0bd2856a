#include "calib/pose.h"

#include <Eigen/Geometry>
#include <Eigen/SVD>
#include <algorithm>
#include <cassert>

#include "calib/angle.h"

namespace plateloom::calib {

namespace {

// In (-180, 180]: atan2 says -180 for a negative zero.
double angle_deg(double y, double x) {
    const double angle = std::atan2(y, x) / kRadPerDeg;
    return angle <= -180.0 ? 180.0 : angle;
}

}  // namespace

double angleOfView_deg(double extent_mm, double focal_mm) {
    return 2.0 * std::atan2(0.5 * extent_mm, focal_mm) / kRadPerDeg;
}

Matrix3d worldFromCamera(const PanTiltRoll& pose) {
    using Eigen::AngleAxisd;
    return (AngleAxisd(pose.pan_deg * kRadPerDeg, Vector3d::UnitZ()) *
            AngleAxisd(pose.tilt_deg * kRadPerDeg, Vector3d::UnitX()) *
            AngleAxisd(pose.roll_deg * kRadPerDeg, Vector3d::UnitY()))
        .toRotationMatrix();
}

PanTiltRoll panTiltRoll(const Matrix3d& m) {
    // Column 1 is the optical axis: (-sin pan cos tilt, cos pan cos tilt, sin tilt).
    const double cos_tilt = std::hypot(m(0, 1), m(1, 1));
    PanTiltRoll pose;
    pose.tilt_deg = std::atan2(m(2, 1), cos_tilt) / kRadPerDeg;
    if (cos_tilt > 1e-9) {
        pose.pan_deg = angle_deg(-m(0, 1), m(1, 1));
        pose.roll_deg = angle_deg(-m(2, 0), m(2, 2));
    } else {
        pose.pan_deg = angle_deg(m(1, 0), m(0, 0));
    }
    return pose;
}

double angleBetween_deg(const Matrix3d& a, const Matrix3d& b) {
    // |A - B|_F = 2 sqrt(2) sin(angle / 2): no loss of digits near zero, unlike acos of the trace.
    const double s = (a - b).norm() / (2.0 * std::sqrt(2.0));
    return 2.0 * std::asin(std::min(1.0, s)) / kRadPerDeg;
}

Matrix3d nearestRotation(const Matrix3d& m) {
    const Eigen::JacobiSVD<Matrix3d> svd(m, Eigen::ComputeFullU | Eigen::ComputeFullV);
    Vector3d sign(1, 1, (svd.matrixU() * svd.matrixV().transpose()).determinant() < 0 ? -1.0 : 1.0);
    return svd.matrixU() * sign.asDiagonal() * svd.matrixV().transpose();
}

Matrix3d shortestTurn(const Vector3d& from, const Vector3d& to) {
    const Vector3d a = from.normalized(), b = to.normalized();
    const double cosine = a.dot(b);
    // Half a turn: any axis at right angles does it.
    if (cosine < -1 + 1e-12)
        return Eigen::AngleAxisd(kRadPerDeg * 180, a.unitOrthogonal()).toRotationMatrix();
    // Half of the angle, which a quaternion holds: 1 + cos x and sin x are as cos x/2 and sin x/2.
    Eigen::Quaterniond turn;
    turn.w() = 1 + cosine;
    turn.vec() = a.cross(b);
    return turn.normalized().toRotationMatrix();
}

Matrix3d alignOrientations(const std::vector<Matrix3d>& from, const std::vector<Matrix3d>& to) {
    assert(from.size() == to.size() && !from.empty());
    Matrix3d sum = Matrix3d::Zero();
    for (size_t i = 0; i < from.size(); ++i) sum += to[i] * from[i].transpose();
    return nearestRotation(sum);
}

}  // namespace plateloom::calib
