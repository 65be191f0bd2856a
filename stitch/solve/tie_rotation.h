// The rotation of one pair again, from the ties that it already has, when lenses have become
// better known.
#pragma once

#include "calib/lens.h"
#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

/// Least squares over the ties' rays (Kabsch 1976), reweighted so that ties further off than
/// `tolerance_px` count for little. Inliers are counted again; ties are kept. Ties that a lens
/// can't flatten do not count.
[[nodiscard]] PairRotation turnedAgain(const PairRotation& pair, const calib::LensMap& lens_a,
                                       const calib::LensMap& lens_b, double tolerance_px);

}  // namespace plateloom::stitch
