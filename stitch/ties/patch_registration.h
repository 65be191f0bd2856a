// One patch of a picture found again in another, to a small part of a pixel: inverse compositional
// image alignment (Baker and Matthews, Lucas-Kanade 20 Years On, IJCV 2004) of a shift, with the
// local map between the two pictures known and gain and offset free.
//
// Both pictures are looked at through the same smooth kernel, the cubic B-spline, whose spectrum
// falls off as sinc⁴: what it lets through of the sampling's mirror images is too little to pull
// the shift toward whole or half pixels, and what noise and aliasing there is near the pixel rate
// is damped on both sides alike.
#pragma once

#include <Eigen/Core>
#include <opencv2/core.hpp>
#include <optional>
#include <vector>

#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

using Eigen::Matrix2d;

/// The places, about its centre, where a patch is sampled: a square grid of `edge` samples and one
/// more row all round for the slopes. On the plate where the patch was chosen the grid is the
/// pixels'; on the other it is bent as the two cameras say. The second order matters: over 21 px
/// it comes to a hundredth of a pixel, always the same way.
struct PatchGrid {
    int edge = 0;                           ///< odd
    std::vector<float> x, y;                ///< (edge + 2)², row by row
    Matrix2d slope = Matrix2d::Identity();  ///< picture pixels per grid step, at the centre
    double reach_px = 0;  ///< how far from the centre the samples lie, along x or y

    [[nodiscard]] static PatchGrid plain(int edge);
    /// p -> slope p + bend (p.x², p.x p.y, p.y²)
    [[nodiscard]] static PatchGrid bent(int edge, const Matrix2d& slope,
                                        const Eigen::Matrix<double, 2, 3>& bend);
};

struct PatchSettings {
    double reach_px = 2.0;  ///< the shift may come to this much
    double least_correlation = 0.8;
};

struct Registration {
    Vector2d px = Vector2d::Zero();  ///< in the picture looked in
    double correlation = 0;
    double sigma_px = 0;  ///< from slopes and residual; root mean square over the axes
};

/// A place in a picture (CV_32F; the first pixel's centre at 0.5), and how a patch about it is
/// sampled. What it refers to must outlive it.
struct PatchPlace {
    const cv::Mat& picture;
    Vector2d px;
    const PatchGrid& grid;
};

/// Where the patch at `place` lies in the picture of `start`, starting from there. Nullopt when it
/// runs out of the picture or of reach, does not settle, or does not look alike.
[[nodiscard]] std::optional<Registration> registerPatch(const PatchPlace& place,
                                                        const PatchPlace& start,
                                                        const PatchSettings& settings);

/// The same, coarsely: the best of all whole grid steps up to `steps` from `start` by correlation.
/// Nullopt when nothing looks alike, or two places do.
[[nodiscard]] std::optional<Vector2d> searchPatch(const PatchPlace& place, const PatchPlace& start,
                                                  int steps);

}  // namespace plateloom::stitch
