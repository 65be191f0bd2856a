#include "stitch/solve/tie_cost.h"

#include <Eigen/Geometry>

namespace plateloom::stitch {

namespace {

using Matrix34 = Eigen::Matrix<double, 3, 4>;
using ByLens = Eigen::Matrix<double, 2, kLensTerms>;

// A vector turned by a quaternion (x, y, z, w) as Eigen does it, v + 2 w (u x v) + 2 u x (u x v),
// and its slope by the quaternion. `sign` -1 turns by the conjugate.
struct Turned {
    Vector3d vector;
    Matrix34 by_quaternion;
};
Turned turned(const double* q, double sign, const Vector3d& v) {
    const Vector3d u(sign * q[0], sign * q[1], sign * q[2]);
    const double w = q[3];
    const Vector3d uv = u.cross(v);
    Turned out;
    out.vector = v + 2 * w * uv + 2 * u.cross(uv);
    for (int k = 0; k < 3; ++k) {
        const Vector3d e = Vector3d::Unit(k), ev = e.cross(v);
        out.by_quaternion.col(k) = sign * (2 * w * ev + 2 * (e.cross(uv) + u.cross(ev)));
    }
    out.by_quaternion.col(3) = 2 * uv;
    return out;
}

// A flat position after the lens correction, and its slopes.
struct Corrected {
    Vector2d mm = Vector2d::Zero();
    ByLens by_lens = ByLens::Zero();
    Vector2d by_breathing = Vector2d::Zero();
};
Corrected corrected(const FlatPoint& point, const double* lens, double breathing) {
    Corrected out;
    out.mm = point.corrected_mm(lens, breathing);
    if (!point.bends) {
        out.by_breathing = point.by_breathing_mm;
        out.by_lens.middleCols<2>(kAxisX) = -Eigen::Matrix2d::Identity();
        out.by_lens.middleCols<3>(kC1) = point.by_radial_mm;
        out.by_lens.middleCols<2>(kP1) = point.by_tangential_mm;
        return out;
    }
    const double h = point.half_diagonal_mm;
    const Vector2d axis(lens[kAxisX], lens[kAxisY]), centre(lens[kCentreX], lens[kCentreY]);
    const Vector2d at = (point.mm - axis - centre) / h;
    const double x = at.x(), y = at.y(), r2 = at.squaredNorm();
    const double breathes = point.known_breathing * breathing - 1;
    const double c1 = lens[kC1] + lens[kC1ByBreathing] * breathes;
    const double R = 1 + r2 * (c1 + r2 * (lens[kC2] + r2 * lens[kC3]));
    const double slope = 2 * (c1 + r2 * (2 * lens[kC2] + 3 * r2 * lens[kC3]));  // of R by r, over r
    const double p1 = lens[kP1], p2 = lens[kP2];
    Eigen::Matrix2d by_at = R * Eigen::Matrix2d::Identity() + slope * at * at.transpose();
    by_at(0, 0) += 2 * p1 * y + 6 * p2 * x;
    by_at(0, 1) += 2 * p1 * x + 2 * p2 * y;
    by_at(1, 0) += 2 * p2 * y + 2 * p1 * x;
    by_at(1, 1) += 2 * p2 * x + 6 * p1 * y;
    out.by_lens.col(kC1) = h * r2 * at;
    out.by_lens.col(kC2) = h * r2 * r2 * at;
    out.by_lens.col(kC3) = h * r2 * r2 * r2 * at;
    out.by_lens.middleCols<2>(kAxisX) = -by_at;
    out.by_lens.middleCols<2>(kCentreX) = Eigen::Matrix2d::Identity() - by_at;
    out.by_lens.col(kP1) = h * Vector2d(2 * x * y, r2 + 2 * y * y);
    out.by_lens.col(kP2) = h * Vector2d(r2 + 2 * x * x, 2 * x * y);
    out.by_lens.col(kC1ByBreathing) = breathes * out.by_lens.col(kC1);
    out.by_breathing = point.known_breathing * lens[kC1ByBreathing] * out.by_lens.col(kC1);
    return out;
}

// Where the derivatives go, row by row as Ceres has them; null: not asked for.
struct Slopes {
    double *rotation_a = nullptr, *rotation_b = nullptr, *breathing_a = nullptr,
           *breathing_b = nullptr;
    double *lens_a = nullptr, *lens_b = nullptr;  // the same one when the plates share a lens
};

template <int Columns>
void store(const Eigen::Matrix<double, 2, Columns>& slope, double* to) {
    if (!to) return;
    for (int row = 0; row < 2; ++row)
        for (int column = 0; column < Columns; ++column)
            to[row * Columns + column] = slope(row, column);
}

struct Blocks {
    const double *rotation_a, *rotation_b, *lens_a, *lens_b, *breathing_a, *breathing_b;
};

void evaluate(const TieResidual& tie, const Blocks& at, double* residual, const Slopes& slopes) {
    const Corrected flat_a = corrected(tie.a, at.lens_a, at.breathing_a[0]);
    const Corrected flat_b = corrected(tie.b, at.lens_b, at.breathing_b[0]);
    const double focal_a = tie.a.focal_mm * at.lens_a[kScale] * at.breathing_a[0];
    const double focal_b = tie.b.focal_mm * at.lens_b[kScale] * at.breathing_b[0];
    const Turned world = turned(at.rotation_a, 1, {flat_a.mm.x(), focal_a, -flat_a.mm.y()});
    const Turned b = turned(at.rotation_b, -1, world.vector);
    const Vector3d& ray = b.vector;
    const double length = ray.norm(), least = 0.1 * length;
    const bool before = ray.y() > least;
    const double depth = before ? ray.y() : least;
    const Vector2d scale = tie.weight * tie.b.px_per_mm;
    const Vector2d tangent(ray.x() / depth, -ray.z() / depth);
    const Vector2d off = focal_b * tangent - flat_b.mm;
    residual[0] = scale.x() * off.x();
    residual[1] = scale.y() * off.y();

    // By the ray in camera b.
    Eigen::Matrix<double, 2, 3> by_ray;
    const Vector3d depth_by_ray = before ? Vector3d(0, 1, 0) : Vector3d(0.1 * ray / length);
    by_ray.row(0) = Vector3d(1, 0, 0) / depth - tangent.x() / depth * depth_by_ray;
    by_ray.row(1) = Vector3d(0, 0, -1) / depth - tangent.y() / depth * depth_by_ray;
    by_ray = (focal_b * scale).asDiagonal() * by_ray;

    store<4>(by_ray * b.by_quaternion, slopes.rotation_b);
    const Matrix3d bFromWorld =
        Eigen::Map<const Eigen::Quaterniond>(at.rotation_b).conjugate().toRotationMatrix();
    const Eigen::Matrix<double, 2, 3> by_world = by_ray * bFromWorld;
    store<4>(by_world * world.by_quaternion, slopes.rotation_a);
    if (!slopes.lens_a && !slopes.lens_b && !slopes.breathing_a && !slopes.breathing_b) return;

    const Matrix3d worldFromA =
        Eigen::Map<const Eigen::Quaterniond>(at.rotation_a).toRotationMatrix();
    const Eigen::Matrix<double, 2, 3> by_ray_a = by_world * worldFromA;
    Eigen::Matrix2d by_flat_a;
    by_flat_a << by_ray_a.col(0), -by_ray_a.col(2);
    const Vector2d by_focal_a = by_ray_a.col(1), by_focal_b = scale.cwiseProduct(tangent);
    store<1>(tie.a.focal_mm * at.lens_a[kScale] * by_focal_a + by_flat_a * flat_a.by_breathing,
             slopes.breathing_a);
    store<1>(
        tie.b.focal_mm * at.lens_b[kScale] * by_focal_b - scale.cwiseProduct(flat_b.by_breathing),
        slopes.breathing_b);
    ByLens by_lens_a = by_flat_a * flat_a.by_lens;
    by_lens_a.col(kScale) = tie.a.focal_mm * at.breathing_a[0] * by_focal_a;
    ByLens by_lens_b = -(scale.asDiagonal() * flat_b.by_lens);
    by_lens_b.col(kScale) = tie.b.focal_mm * at.breathing_b[0] * by_focal_b;
    if (slopes.lens_a == slopes.lens_b) {
        store<kLensTerms>(by_lens_a + by_lens_b, slopes.lens_a);
    } else {
        store<kLensTerms>(by_lens_a, slopes.lens_a);
        store<kLensTerms>(by_lens_b, slopes.lens_b);
    }
}

constexpr double kStill = 1;

class LensFixed final : public ceres::SizedCostFunction<2, 4, 4> {
public:
    explicit LensFixed(const TieResidual& tie) : tie_(tie) {}
    bool Evaluate(const double* const* p, double* residual, double** slopes) const override {
        Slopes to;
        if (slopes) to = {slopes[0], slopes[1]};
        evaluate(tie_, {p[0], p[1], tie_.lens_a.data(), tie_.lens_b.data(), &kStill, &kStill},
                 residual, to);
        return true;
    }

private:
    TieResidual tie_;
};

class OneLens final : public ceres::SizedCostFunction<2, 4, 4, kLensTerms, 1, 1> {
public:
    explicit OneLens(const TieResidual& tie) : tie_(tie) {}
    bool Evaluate(const double* const* p, double* residual, double** slopes) const override {
        Slopes to;
        if (slopes) to = {slopes[0], slopes[1], slopes[3], slopes[4], slopes[2], slopes[2]};
        evaluate(tie_, {p[0], p[1], p[2], p[2], p[3], p[4]}, residual, to);
        return true;
    }

private:
    TieResidual tie_;
};

class TwoLenses final : public ceres::SizedCostFunction<2, 4, 4, kLensTerms, kLensTerms, 1, 1> {
public:
    explicit TwoLenses(const TieResidual& tie) : tie_(tie) {}
    bool Evaluate(const double* const* p, double* residual, double** slopes) const override {
        Slopes to;
        if (slopes) to = {slopes[0], slopes[1], slopes[4], slopes[5], slopes[2], slopes[3]};
        evaluate(tie_, {p[0], p[1], p[2], p[3], p[4], p[5]}, residual, to);
        return true;
    }

private:
    TieResidual tie_;
};

}  // namespace

ceres::CostFunction* tieWithLensFixed(const TieResidual& tie) {
    return new LensFixed(tie);
}
ceres::CostFunction* tieWithOneLens(const TieResidual& tie) {
    return new OneLens(tie);
}
ceres::CostFunction* tieWithTwoLenses(const TieResidual& tie) {
    return new TwoLenses(tie);
}

}  // namespace plateloom::stitch
