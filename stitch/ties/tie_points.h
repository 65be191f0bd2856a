// A tie point: the same thing in the world, seen on two plates. Positions are on the recorded
// plates, in pixels (centre of the first pixel at 0.5, 0.5); nothing is warped to find them.
#pragma once

#include <functional>
#include <vector>

#include "calib/sensor.h"

namespace plateloom::stitch {

using calib::Matrix3d;
using calib::Vector2d;
using calib::Vector3d;

struct Tie {
    int a = 0, b = 0;  ///< plates, a < b
    Vector2d px_a = Vector2d::Zero(), px_b = Vector2d::Zero();
    double sigma_px = 0.5;  ///< one-sigma uncertainty of px_b - px_a along each axis
};

/// How plate b's camera is turned against plate a's, as one pair of plates alone would have it.
struct PairRotation {
    int a = 0, b = 0;
    Matrix3d bFromA = Matrix3d::Identity();  ///< ray in camera b = bFromA * ray in camera a
    int inliers = 0;                         ///< matches that agree
    int in_overlap = 0;     ///< matches that fall into the overlap, agreeing or not
    std::vector<Tie> ties;  ///< the agreeing ones

    /// Brown and Lowe, Automatic Panoramic Image Stitching using Invariant Features, IJCV 2007, eq.
    /// 13: n_inliers > 8.0 + 0.3 n_features_in_overlap.
    [[nodiscard]] bool accepted() const { return inliers > 8.0 + 0.3 * in_overlap; }
};

/// How many agreeing matches the two plates ought to show if they were turned against each other
/// like this; 0 where nothing can be expected. Brown and Lowe 2007 count the features that fall
/// into the overlap in the same spirit.
using ExpectedMatches = std::function<double(int a, int b, const Matrix3d& bFromA)>;

}  // namespace plateloom::stitch
