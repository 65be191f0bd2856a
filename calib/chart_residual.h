// The residual of one board point in one picture: where the lens would record it, against where it
// was recorded, in recorded pixels whichever way the distortion polynomial runs. Defined once; the
// solver, the held-out scores and the report use the same one.
//
// All lengths on the sensor are in units of its half diagonal h, all lengths on the board in units
// of its reach, so that every parameter is of the order of one. Parameter blocks:
//     lens   F, dP x y, dC x y, k1 .. k6, p1 p2                                    (kLensNumbers)
//     shape  stretch, skew, bend[3], curl[4]                                       (kShapeNumbers)
//     pose   rotation vector, place                                                (6)
// The derivatives are written out: a solve of 13 pictures costs 5 ms in place of 30.
#pragma once

#include <ceres/sized_cost_function.h>

#include "calib/lens.h"

namespace plateloom::calib {

constexpr int kLensNumbers = 13, kShapeNumbers = 9, kPoseNumbers = 6;
enum LensNumber { kFocal = 0, kAxis = 1, kCentre = 3, kRadial = 5, kTangential = 11 };

/// U and its derivatives.
struct BrownConradyAt {
    Vector2d value;
    Eigen::Matrix2d by_point;
    Eigen::Matrix<double, 2, 6> by_radial;
    Eigen::Matrix2d by_tangential;
};
[[nodiscard]] BrownConradyAt brownConradyAt(const double* radial, const double* tangential,
                                            const Vector2d& point);

/// Row-major, as Ceres wants them; null: not wanted.
struct RecordedBy {
    double *lens = nullptr, *shape = nullptr, *pose = nullptr;
};

struct ChartPoint3 {
    DistortionDirection direction = DistortionDirection::recorded_to_flat;
    Vector2d point = Vector2d::Zero();  ///< on the board
    Vector2d near = Vector2d::Zero();   ///< recorded nearby: where the reverse of D-U is begun

    /// Where the lens records it, from the picture's middle. False behind the camera and where the
    /// polynomial folds.
    [[nodiscard]] bool predict(const double* lens, const double* shape, const double* pose,
                               Vector2d* recorded, const RecordedBy& by) const;
};

class ChartResidual
    : public ceres::SizedCostFunction<2, kLensNumbers, kShapeNumbers, kPoseNumbers> {
public:
    ChartResidual(const ChartPoint3& point, const Vector2d& recorded, const Vector2d& px_per_unit)
        : point_(point), recorded_(recorded), px_per_unit_(px_per_unit) {}
    bool Evaluate(double const* const* parameters, double* residuals,
                  double** jacobians) const override;

private:
    ChartPoint3 point_;
    Vector2d recorded_, px_per_unit_;
};

}  // namespace plateloom::calib
