// Where a chart solve starts: focal length and board poses in closed form, from the homography of
// each picture. Source: Z. Zhang, A flexible new technique for camera calibration (IEEE TPAMI 22,
// 2000), section 3.1 with the axis held at the picture's middle and square pixels of known size.
#pragma once

#include <optional>
#include <vector>

#include "calib/chart.h"

namespace plateloom::calib {

/// Homography from board points (in units of the reach) to recorded points (units of the sensor's
/// half diagonal, from the picture's middle, y down), least squares. Nullopt for fewer than four
/// points or points along a line.
[[nodiscard]] std::optional<Matrix3d> boardHomography(const ChartBoard& board,
                                                      const ChartView& view, const Sensor& sensor);

/// Focal length in units of the half diagonal, by least squares over the pictures; nullopt where
/// the boards are all seen too nearly square on to tell.
[[nodiscard]] std::optional<double> focalFromHomographies(
    const std::vector<Matrix3d>& homographies);

/// The pose that a homography stands for at this focal length, place in units of the reach.
[[nodiscard]] BoardPose poseFromHomography(const Matrix3d& homography, double focal);

}  // namespace plateloom::calib
