// What is believed of cameras before any tie is looked at, as residuals.
#pragma once

#include <ceres/autodiff_cost_function.h>

#include <Eigen/Geometry>
#include <array>

#include "calib/lens_table.h"
#include "stitch/plates/lens_terms.h"
#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

/// One term of a block of `Size` near `mean`, within `sigma`.
template <int Size>
struct TermPrior {
    int term = 0;
    double mean = 0, weight = 1;

    template <class T>
    bool operator()(const T* block, T* residual) const {
        residual[0] = weight * (block[term] - mean);
        return true;
    }
    [[nodiscard]] static ceres::CostFunction* create(int term, double mean, double sigma) {
        return new ceres::AutoDiffCostFunction<TermPrior, 1, Size>(
            new TermPrior{term, mean, 1 / sigma});
    }
};

/// Radial terms added to those of a lens table: the place of a point of the picture, toward the
/// centre or away from it, within `sigma_mm` at each of calib::kRadialHeights.
struct RadialPrior {
    double half_diagonal_mm = 1;
    std::array<double, 3> sigma_mm{};

    template <class T>
    bool operator()(const T* lens, T* residual) const {
        for (size_t i = 0; i < sigma_mm.size(); ++i) {
            const double r = calib::kRadialHeights[i], r2 = r * r;
            const T off_mm =
                half_diagonal_mm * r * r2 * (lens[kC1] + r2 * (lens[kC2] + r2 * lens[kC3]));
            residual[i] = off_mm / sigma_mm[i];
        }
        return true;
    }
    [[nodiscard]] static ceres::CostFunction* create(double half_diagonal_mm,
                                                     const std::array<double, 3>& sigma_mm) {
        return new ceres::AutoDiffCostFunction<RadialPrior, 3, kLensTerms>(
            new RadialPrior{half_diagonal_mm, sigma_mm});
    }
};

/// A plate's orientation near the pose that the track or the report gives, within `sigma_rad`.
struct PosePrior {
    Eigen::Quaterniond cameraFromWorld;
    double weight = 1;

    template <class T>
    bool operator()(const T* worldFromCamera, T* residual) const {
        const Eigen::Quaternion<T> off =
            cameraFromWorld.cast<T>() * Eigen::Map<const Eigen::Quaternion<T>>(worldFromCamera);
        // 2 sin(angle / 2) along the axis: the angle itself, wherever a prior is of use.
        const T sign(off.w() < T(0) ? -2.0 : 2.0);
        residual[0] = weight * sign * off.x();
        residual[1] = weight * sign * off.y();
        residual[2] = weight * sign * off.z();
        return true;
    }
    [[nodiscard]] static ceres::CostFunction* create(const Matrix3d& worldFromCamera,
                                                     double sigma_rad) {
        const Eigen::Quaterniond pose(worldFromCamera);
        return new ceres::AutoDiffCostFunction<PosePrior, 3, 4>(
            new PosePrior{pose.conjugate(), 1 / sigma_rad});
    }
};

}  // namespace plateloom::stitch
