// The residual of one tie point: plate a's flat position, sent through both cameras onto plate b's
// flat plane, against plate b's own flat position. In pixels of plate b, divided by the tie's
// sigma. Defined once; the solver, its tests and its report use the same one.
//
// Parameters: unit quaternions worldFromCamera (Eigen's order: x, y, z, w) of a and b, and for each
// lens group (focal scale, c1, c2): see stitch/bundle.h.
#pragma once

#include <ceres/autodiff_cost_function.h>

#include <Eigen/Geometry>

#include "stitch/tie_points.h"

namespace plateloom::stitch {

/// One end of a tie: a flat position, and what turns it into a ray.
struct FlatPoint {
    Vector2d mm = Vector2d::Zero();  ///< from the optical axis, by the plate's own lens data
    double focal_mm = 0;             ///< before the correction
    double half_diagonal_mm = 1;
    Vector2d px_per_mm = Vector2d::Ones();
    bool bends = false;  ///< c1 and c2 apply: the plate came without distortion data

    /// Position after the lens correction.
    template <class T>
    [[nodiscard]] Eigen::Matrix<T, 2, 1> corrected_mm(const T* lens) const {
        if (!bends) return mm.cast<T>();
        const double rho2 = mm.squaredNorm() / (half_diagonal_mm * half_diagonal_mm);
        return mm.cast<T>() * (1.0 + rho2 * (lens[1] + rho2 * lens[2]));
    }
};

struct TieResidual {
    FlatPoint a, b;
    double weight = 1;  ///< 1 / sigma_px
    /// The groups' corrections where they are not solved for.
    double lens_a[3] = {1, 0, 0}, lens_b[3] = {1, 0, 0};

    template <class T>
    bool operator()(const T* worldFromA, const T* worldFromB, const T* correction_a,
                    const T* correction_b, T* residual) const {
        using Vector3 = Eigen::Matrix<T, 3, 1>;
        using Quaternion = Eigen::Map<const Eigen::Quaternion<T>>;
        const auto flat_a = a.corrected_mm(correction_a);
        const T focal_a = a.focal_mm * correction_a[0], focal_b = b.focal_mm * correction_b[0];
        const Vector3 ray_a(flat_a.x(), focal_a, -flat_a.y());
        const Vector3 ray_b = Quaternion(worldFromB).conjugate() * (Quaternion(worldFromA) * ray_a);
        // A ray at the side of camera b or behind it has no place on its plane; it is held at 84
        // degrees, far away and still with a slope that brings it back.
        const T least = 0.1 * ray_b.norm();
        const T depth = ray_b.y() > least ? ray_b.y() : least;
        const auto flat_b = b.corrected_mm(correction_b);
        residual[0] = weight * b.px_per_mm.x() * (focal_b * ray_b.x() / depth - flat_b.x());
        residual[1] = weight * b.px_per_mm.y() * (-focal_b * ray_b.z() / depth - flat_b.y());
        return true;
    }
    template <class T>
    bool operator()(const T* worldFromA, const T* worldFromB, const T* correction,
                    T* residual) const {
        return (*this)(worldFromA, worldFromB, correction, correction, residual);
    }
    template <class T>
    bool operator()(const T* worldFromA, const T* worldFromB, T* residual) const {
        const T la[3] = {T(lens_a[0]), T(lens_a[1]), T(lens_a[2])};
        const T lb[3] = {T(lens_b[0]), T(lens_b[1]), T(lens_b[2])};
        return (*this)(worldFromA, worldFromB, la, lb, residual);
    }

    [[nodiscard]] static ceres::CostFunction* withLensFixed(const TieResidual& tie) {
        return new ceres::AutoDiffCostFunction<TieResidual, 2, 4, 4>(new TieResidual(tie));
    }
    [[nodiscard]] static ceres::CostFunction* withOneLens(const TieResidual& tie) {
        return new ceres::AutoDiffCostFunction<TieResidual, 2, 4, 4, 3>(new TieResidual(tie));
    }
    [[nodiscard]] static ceres::CostFunction* withTwoLenses(const TieResidual& tie) {
        return new ceres::AutoDiffCostFunction<TieResidual, 2, 4, 4, 3, 3>(new TieResidual(tie));
    }
};

}  // namespace plateloom::stitch
