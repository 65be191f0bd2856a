// One patch of a picture found again in another, to a small part of a pixel: inverse compositional
// image alignment (Baker and Matthews, Lucas-Kanade 20 Years On, IJCV 2004) of a shift, with a
// known affine map between the two pictures and gain and offset free.
//
// Both pictures are looked at through the same smooth kernel, the cubic B-spline, whose spectrum
// falls off as sinc⁴: what it lets through of the sampling's mirror images is too little to pull
// the shift toward whole or half pixels, and what noise and aliasing there is near the pixel rate
// is damped on both sides alike.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <optional>

#include "stitch/tie_points.h"

namespace plateloom::stitch {

using Eigen::Matrix2d;

struct PatchSettings {
    int patch_px = 15;      ///< edge, odd, at most 31
    double reach_px = 2.0;  ///< the shift may come to this much
    double least_correlation = 0.8;
};

struct Registration {
    Vector2d px = Vector2d::Zero();  ///< in the picture looked in
    double correlation = 0;
    double sigma_px = 0;
};

/// Where the patch about `px` of `picture` lies in `other` (both CV_32F; positions with the first
/// pixel's centre at 0.5): `start` is the guess, `otherFromPicture` the local map. Nullopt when it
/// runs out of the picture or of reach, does not settle, or does not look alike.
[[nodiscard]] std::optional<Registration> registerPatch(const cv::Mat& picture, const Vector2d& px,
                                                        const cv::Mat& other, const Vector2d& start,
                                                        const Matrix2d& otherFromPicture,
                                                        const PatchSettings& settings);

}  // namespace plateloom::stitch
