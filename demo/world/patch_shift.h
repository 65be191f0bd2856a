// How far a patch of one picture lies from the same place in another: least squares of light
// against light, gain and offset free. The demo's own, so that what it says of a moving panorama
// owes nothing to the registration that the program ties plates with.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <optional>

namespace plateloom::world {

struct PatchShift {
    Eigen::Vector2d px = Eigen::Vector2d::Zero();  ///< in the second picture, less in the first
    double sigma_px = 0;  ///< root mean square over the axes, from slopes and residual
};

/// Of the patch of `edge` (odd) pixels about pixel (x, y). The pictures are CV_32F of one size,
/// smoothed alike (a Gaussian of a pixel), so that a cubic carries their light between pixels.
/// Nullopt when the shift leaves `reach_px` or the picture, or nothing looks alike.
[[nodiscard]] std::optional<PatchShift> patchShift(const cv::Mat& from, const cv::Mat& to, int x,
                                                   int y, int edge, double reach_px);

}  // namespace plateloom::world
