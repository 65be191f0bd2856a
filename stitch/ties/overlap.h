// How much of one plate another one sees.
#pragma once

#include <utility>
#include <vector>

#include "calib/lens.h"
#include "stitch/plates/cameras.h"
#include "stitch/ties/features.h"
#include "stitch/ties/refine_ties.h"

namespace plateloom::stitch {

/// Where a recorded position of plate a falls on plate b; nullopt outside b's picture. The lenses
/// must outlive it.
[[nodiscard]] TransferAToB transferAToB(const calib::LensMap& lens_a, const calib::LensMap& lens_b,
                                        const Matrix3d& bFromA);

/// Share (0 to 1) of plate a's picture that falls into plate b's, to about one in a hundred.
[[nodiscard]] double overlapShare(const calib::LensMap& lens_a, const calib::LensMap& lens_b,
                                  const Matrix3d& bFromA);

/// Pairs of plates of one part of which one sees at least `least_share` of the other.
[[nodiscard]] std::vector<std::pair<int, int>> overlappingPairs(
    const Cameras& cameras, const std::vector<calib::LensMap>& lenses, double least_share);

/// What `chooseRotations` asks: for pairs that were tried, matches in proportion to the features
/// that would lie in the overlap, at half the rate that the best hypotheses of this set's own pairs
/// show; 0 for other pairs. Fast (about a microsecond): features are counted by cells, and the
/// overlap is that of the flat frames.
[[nodiscard]] ExpectedMatches expectedMatches(const std::vector<PlateFeatures>& features,
                                              const std::vector<calib::LensMap>& lenses,
                                              const std::vector<std::pair<int, int>>& tried,
                                              const std::vector<PairRotation>& hypotheses);

}  // namespace plateloom::stitch
