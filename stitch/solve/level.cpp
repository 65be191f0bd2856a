#include "stitch/solve/level.h"

#include <Eigen/Eigenvalues>
#include <Eigen/Geometry>
#include <cmath>

#include "calib/angle.h"
#include "calib/pose.h"

namespace plateloom::stitch {

namespace {

using Rotations = std::vector<std::optional<Matrix3d>>;
using calib::kRadPerDeg;

// Cameras are held level to about half a degree and tilted by some fifty (common practice), so a
// tilt weighs (0.5 / 50)² of a roll. It only matters where the X axes alone leave up open.
constexpr double kTiltWeight = 1e-4;

Matrix3d aboutUp(double pan_deg) {
    return Eigen::AngleAxisd(pan_deg * kRadPerDeg, Vector3d::UnitZ()).toRotationMatrix();
}

Matrix3d levelByHorizon(const Rotations& worldFromCamera) {
    Matrix3d spread = Matrix3d::Zero();
    Vector3d upright = Vector3d::Zero();
    for (const auto& camera : worldFromCamera) {
        if (!camera) continue;
        const Vector3d right = camera->col(0), forward = camera->col(1);
        spread += right * right.transpose() + kTiltWeight * forward * forward.transpose();
        upright += camera->col(2);
    }
    const Eigen::SelfAdjointEigenSolver<Matrix3d> eigen(spread);
    Vector3d up = eigen.eigenvectors().col(0);
    if (up.dot(upright) < 0) up = -up;
    return calib::shortestTurn(up, Vector3d::UnitZ());
}

// Where pan 0 lies when nobody says: in the middle of plates that leave a gap, so that the
// panorama's edge falls where nothing was shot; for a full turn, which has no middle, at the first
// plate.
double middlePan_deg(const Rotations& worldFromCamera, const Matrix3d& levelled, int first) {
    constexpr double kFullTurn =
        0.2;  // of unit vectors spread evenly over 300 degrees the mean is 0.19
    Vector3d sum = Vector3d::Zero();
    double length = 0;  // a plate that looks straight up has no say
    for (const auto& camera : worldFromCamera) {
        if (!camera) continue;
        Vector3d axis = levelled * camera->col(1);
        axis.z() = 0;
        sum += axis;
        length += axis.norm();
    }
    const Vector3d facing = levelled * worldFromCamera[first]->col(1);
    const Vector3d& ahead = sum.norm() > kFullTurn * length ? sum : facing;
    return std::atan2(-ahead.x(), ahead.y()) / kRadPerDeg;
}

}  // namespace

Matrix3d robustMean(const std::vector<Matrix3d>& rotations) {
    constexpr double kScale_deg = 2.0;
    const auto weightOf = [&](const Matrix3d& a, const Matrix3d& b) {
        const double off = calib::angleBetween_deg(a, b) / kScale_deg;
        return 1.0 / (1.0 + off * off);
    };
    Matrix3d mean = rotations.front();
    double best = -1;
    for (const auto& candidate : rotations) {
        double sum = 0;
        for (const auto& other : rotations) sum += weightOf(candidate, other);
        if (sum > best) {
            best = sum;
            mean = candidate;
        }
    }
    for (int i = 0; i < 20; ++i) {
        Matrix3d sum = Matrix3d::Zero();
        for (const auto& rotation : rotations) sum += weightOf(rotation, mean) * rotation;
        mean = calib::nearestRotation(sum);
    }
    return mean;
}

Matrix3d levelRotation(const Rotations& worldFromCamera, const Rotations& poses, Level level,
                       std::optional<int> north) {
    std::vector<Matrix3d> poseFromSolved;
    int first = -1;
    for (size_t i = 0; i < worldFromCamera.size(); ++i) {
        if (!worldFromCamera[i]) continue;
        if (first < 0) first = int(i);
        if (i < poses.size() && poses[i])
            poseFromSolved.push_back(*poses[i] * worldFromCamera[i]->transpose());
    }
    if (first < 0) return Matrix3d::Identity();

    const bool by_poses =
        !poseFromSolved.empty() && (level == Level::automatic || level == Level::poses);
    Matrix3d levelled;
    if (by_poses)
        levelled = robustMean(poseFromSolved);
    else if (level == Level::none)
        levelled = worldFromCamera[first]->transpose();
    else
        levelled = levelByHorizon(worldFromCamera);

    if (north && !worldFromCamera[*north]) north.reset();
    if (!north && by_poses) return levelled;
    if (!north && level == Level::none) return levelled;
    const double pan_deg = north ? calib::panTiltRoll(levelled * *worldFromCamera[*north]).pan_deg
                                 : middlePan_deg(worldFromCamera, levelled, first);
    return aboutUp(-pan_deg) * levelled;
}

}  // namespace plateloom::stitch
