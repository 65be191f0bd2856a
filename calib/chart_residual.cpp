#include "calib/chart_residual.h"

#include <ceres/jet.h>
#include <ceres/rotation.h>

#include <Eigen/LU>
#include <array>
#include <cmath>

namespace plateloom::calib {

namespace {

template <int N>
using Rows = Eigen::Matrix<double, 2, N, Eigen::RowMajor>;

// The board's point as its shape has it, and its slopes.
Vector3d shapedPoint(const double* shape, const Vector2d& p) {
    const double x = p.x(), y = p.y();
    return {x * (1 + shape[0]) + y * shape[1], y,
            x * (x * shape[2] + y * shape[3]) + y * y * shape[4] +
                x * x * (x * shape[5] + y * shape[6]) + y * y * (x * shape[7] + y * shape[8])};
}

Eigen::Matrix<double, 3, kShapeNumbers> shapedPointByShape(const Vector2d& p) {
    const double x = p.x(), y = p.y();
    Eigen::Matrix<double, 3, kShapeNumbers> by = decltype(by)::Zero();
    by(0, 0) = x;
    by(0, 1) = y;
    by.row(2) << 0, 0, x * x, x * y, y * y, x * x * x, x * x * y, x * y * y, y * y * y;
    return by;
}

// p with U(p) = target, from `p`; false where Newton finds none: the polynomial folds.
bool invert(const double* radial, const double* tangential, const Vector2d& target, Vector2d* p,
            BrownConradyAt* at) {
    for (int i = 0; i < 20; ++i) {
        *at = brownConradyAt(radial, tangential, *p);
        if (!(at->by_point.determinant() > 1e-3)) return false;
        const Vector2d step = at->by_point.inverse() * (at->value - target);
        if (step.squaredNorm() < 1e-24) return true;
        *p -= step;
        if (!(p->squaredNorm() < 100)) return false;
    }
    return false;
}

}  // namespace

BrownConradyAt brownConradyAt(const double* k, const double* p, const Vector2d& point) {
    const double x = point.x(), y = point.y(), s = x * x + y * y;
    const double above = 1 + s * (k[0] + s * (k[2] + s * k[4]));
    const double below = 1 + s * (k[1] + s * (k[3] + s * k[5]));
    const double R = above / below;
    const double R_s =
        (k[0] + s * (2 * k[2] + s * 3 * k[4]) - R * (k[1] + s * (2 * k[3] + s * 3 * k[5]))) / below;
    BrownConradyAt out;
    const Vector2d t1(2 * x * y, s + 2 * y * y), t2(s + 2 * x * x, 2 * x * y);
    out.value = R * point + p[0] * t1 + p[1] * t2;
    out.by_point = R * Eigen::Matrix2d::Identity() + 2 * R_s * point * point.transpose();
    out.by_point(0, 0) += 2 * p[0] * y + 6 * p[1] * x;
    out.by_point(0, 1) += 2 * p[0] * x + 2 * p[1] * y;
    out.by_point(1, 0) += 2 * p[1] * y + 2 * p[0] * x;
    out.by_point(1, 1) += 2 * p[1] * x + 6 * p[0] * y;
    double power = s / below;
    for (int i = 0; i < 3; ++i, power *= s) {
        out.by_radial.col(2 * i) = power * point;
        out.by_radial.col(2 * i + 1) = -R * power * point;
    }
    out.by_tangential << t1, t2;
    return out;
}

bool ChartPoint3::predict(const double* lens, const double* shape, const double* pose,
                          Vector2d* recorded, const RecordedBy& by) const {
    using Jet = ceres::Jet<double, 3>;
    const Vector3d on_board = shapedPoint(shape, point);
    const std::array<Jet, 3> turn{Jet(pose[0], 0), Jet(pose[1], 1), Jet(pose[2], 2)};
    const std::array<Jet, 3> from{Jet(on_board[0]), Jet(on_board[1]), Jet(on_board[2])};
    std::array<Jet, 3> turned;
    ceres::AngleAxisRotatePoint(turn.data(), from.data(), turned.data());
    const Vector3d seen(turned[0].a + pose[3], turned[1].a + pose[4], turned[2].a + pose[5]);
    if (!(seen.y() > 1e-3)) return false;

    const double F = lens[kFocal];
    const Vector2d slope(seen.x() / seen.y(), -seen.z() / seen.y());
    const Vector2d decentre(lens[kCentre], lens[kCentre + 1]);
    const Vector2d centre = decentre + Vector2d(lens[kAxis], lens[kAxis + 1]);
    const Vector2d target = F * slope - decentre;
    const double *radial = lens + kRadial, *tangential = lens + kTangential;
    BrownConradyAt at;
    Eigen::Matrix2d by_target;
    Eigen::Matrix<double, 2, 8> by_terms;  // k1 .. k6, p1, p2
    if (direction == DistortionDirection::flat_to_recorded) {
        at = brownConradyAt(radial, tangential, target);
        *recorded = at.value + centre;
        by_target = at.by_point;
        by_terms << at.by_radial, at.by_tangential;
    } else {
        Vector2d p = near - centre;
        if (!invert(radial, tangential, target, &p, &at)) return false;
        *recorded = p + centre;
        // Of the implicit function U(p; terms) = target.
        by_target = at.by_point.inverse();
        by_terms << at.by_radial, at.by_tangential;
        by_terms = -by_target * by_terms;
    }

    if (by.lens) {
        Eigen::Map<Rows<kLensNumbers>> out(by.lens);
        out.col(kFocal) = by_target * slope;
        out.middleCols<2>(kAxis).setIdentity();
        out.middleCols<2>(kCentre) = Eigen::Matrix2d::Identity() - by_target;
        out.middleCols<8>(kRadial) = by_terms;
    }
    if (!by.shape && !by.pose) return true;
    Eigen::Matrix<double, 2, 3> slope_by_seen;
    slope_by_seen << 1, -slope.x(), 0, 0, -slope.y(), -1;
    const Eigen::Matrix<double, 2, 3> by_seen = by_target * (F / seen.y() * slope_by_seen);
    if (by.pose) {
        Matrix3d seen_by_turn;
        seen_by_turn << turned[0].v.transpose(), turned[1].v.transpose(), turned[2].v.transpose();
        Eigen::Map<Rows<kPoseNumbers>> out(by.pose);
        out << by_seen * seen_by_turn, by_seen;
    }
    if (by.shape) {
        Matrix3d cameraFromBoard;
        ceres::AngleAxisToRotationMatrix(pose, cameraFromBoard.data());
        Eigen::Map<Rows<kShapeNumbers>>(by.shape) =
            by_seen * cameraFromBoard * shapedPointByShape(point);
    }
    return true;
}

bool ChartResidual::Evaluate(double const* const* parameters, double* residuals,
                             double** jacobians) const {
    RecordedBy by;
    if (jacobians) by = {jacobians[0], jacobians[1], jacobians[2]};
    Vector2d predicted;
    if (!point_.predict(parameters[0], parameters[1], parameters[2], &predicted, by)) return false;
    for (int i = 0; i < 2; ++i) residuals[i] = px_per_unit_[i] * (predicted[i] - recorded_[i]);
    const auto scale = [&](double* rows, int columns) {
        for (int i = 0; rows && i < 2 * columns; ++i) rows[i] *= px_per_unit_[i / columns];
    };
    scale(by.lens, kLensNumbers);
    scale(by.shape, kShapeNumbers);
    scale(by.pose, kPoseNumbers);
    return true;
}

}  // namespace plateloom::calib
