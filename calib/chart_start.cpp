#include "calib/chart_start.h"

#include <Eigen/Eigenvalues>
#include <Eigen/Geometry>
#include <cmath>

#include "calib/pose.h"
#include "calib/rotation_vector.h"

namespace plateloom::calib {

namespace {

// Points about 0 with a mean distance of sqrt 2: the linear solution is only as good as its
// scaling. Source: R. Hartley, In defense of the eight-point algorithm (IEEE TPAMI 19, 1997).
Matrix3d normalization(const std::vector<Vector2d>& points) {
    Vector2d mean = Vector2d::Zero();
    for (const auto& p : points) mean += p;
    mean /= double(points.size());
    double distance = 0;
    for (const auto& p : points) distance += (p - mean).norm();
    const double scale = std::sqrt(2.0) * double(points.size()) / std::max(distance, 1e-300);
    Matrix3d out;
    out << scale, 0, -scale * mean.x(), 0, scale, -scale * mean.y(), 0, 0, 1;
    return out;
}

}  // namespace

std::optional<Matrix3d> boardHomography(const ChartBoard& board, const ChartView& view,
                                        const Sensor& sensor) {
    if (view.point.size() < 4) return std::nullopt;
    const double reach = board.reach_mm(), half_diagonal = sensor.halfDiagonal_mm();
    std::vector<Vector2d> from, to;
    for (size_t i = 0; i < view.point.size(); ++i) {
        from.push_back(board.points_mm[size_t(view.point[i])] / reach);
        to.push_back(mmFromPixel(sensor, view.recorded_px[i]) / half_diagonal);
    }
    const Matrix3d normalFromBoard = normalization(from), normalFromPicture = normalization(to);
    Eigen::Matrix<double, 9, 9> normal = Eigen::Matrix<double, 9, 9>::Zero();
    for (size_t i = 0; i < from.size(); ++i) {
        const Vector3d a = normalFromBoard * from[i].homogeneous();
        const Vector3d b = normalFromPicture * to[i].homogeneous();
        Eigen::Matrix<double, 2, 9> rows = Eigen::Matrix<double, 2, 9>::Zero();
        rows.block<1, 3>(0, 0) = a.transpose();
        rows.block<1, 3>(0, 6) = -b.x() * a.transpose();
        rows.block<1, 3>(1, 3) = a.transpose();
        rows.block<1, 3>(1, 6) = -b.y() * a.transpose();
        normal += rows.transpose() * rows;
    }
    const Eigen::SelfAdjointEigenSolver<Eigen::Matrix<double, 9, 9>> eigen(normal);
    // Points along a line leave several homographies to choose from.
    if (!(eigen.eigenvalues()(1) > 1e-9 * eigen.eigenvalues()(8))) return std::nullopt;
    const Eigen::Matrix<double, 9, 1> h = eigen.eigenvectors().col(0);
    Matrix3d homography;
    homography << h(0), h(1), h(2), h(3), h(4), h(5), h(6), h(7), h(8);
    homography = normalFromPicture.inverse() * homography * normalFromBoard;
    // The board's middle lies in front of the camera.
    return homography / homography(2, 2);
}

std::optional<double> focalFromHomographies(const std::vector<Matrix3d>& homographies) {
    // With w = 1 / F²: h1 and h2 are at right angles and of one length under diag(w, w, 1).
    double above = 0, below = 0;
    for (Matrix3d h : homographies) {
        h /= h.block<2, 2>(0, 0).norm();
        const double a[2] = {
            h(0, 0) * h(0, 1) + h(1, 0) * h(1, 1),
            h(0, 0) * h(0, 0) + h(1, 0) * h(1, 0) - h(0, 1) * h(0, 1) - h(1, 1) * h(1, 1)};
        const double b[2] = {h(2, 0) * h(2, 1), h(2, 0) * h(2, 0) - h(2, 1) * h(2, 1)};
        for (int i = 0; i < 2; ++i) {
            // Weighted so that F² = -a / b: the larger the board's tilt, the more b.
            above -= a[i] * b[i];
            below += b[i] * b[i];
        }
    }
    if (!(below > 0) || !(above > 0)) return std::nullopt;
    return std::sqrt(above / below);
}

BoardPose poseFromHomography(const Matrix3d& homography, double focal) {
    // In axes x right, y down, z forward.
    Matrix3d m = homography;
    m.topRows<2>() /= focal;
    m *= 2 / (m.col(0).norm() + m.col(1).norm());
    if (m(2, 2) < 0) m = -m;
    Matrix3d seenFromBoard;
    seenFromBoard << m.col(0), m.col(1), m.col(0).cross(m.col(1));
    seenFromBoard = nearestRotation(seenFromBoard);
    Matrix3d cameraFromSeen;
    cameraFromSeen << 1, 0, 0, 0, 0, 1, 0, -1, 0;
    return {rotationVector(cameraFromSeen * seenFromBoard), cameraFromSeen * m.col(2)};
}

}  // namespace plateloom::calib
