// The first look: features of every plate, which pairs to try, and what each of them says.
#pragma once

#include <utility>
#include <vector>

#include "stitch/job/stage_clock.h"
#include "stitch/plates/cameras.h"
#include "stitch/plates/light_store.h"
#include "stitch/ties/pairs.h"
#include "stitch/ties/solve_memory.h"

namespace plateloom::stitch {

using PlatePairs = std::vector<std::pair<int, int>>;

/// Reads and looks at every plate once, several at a time, within a bound on memory. Plates that
/// `memory` knows are not read.
[[nodiscard]] std::vector<PlateFeatures> featuresOfPlates(const Cameras& cameras,
                                                          LightStore& lights, int wanted,
                                                          SolveMemory* memory, StageClock& clock);

/// How far off a match of this pair may be before anything is solved: a few pixels through lenses
/// that are known, else of the order of 1 % of the width.
[[nodiscard]] double matchTolerance_px(const Cameras& cameras, int a, int b);

/// Every pair's hypotheses, in the order of the pairs; pairs are tried in parallel. Matches may be
/// off by `tolerance_share` of matchTolerance_px. Pairs that `memory` knows are taken from it.
[[nodiscard]] std::vector<PairRotation> tryPairs(const Cameras& cameras,
                                                 const std::vector<PlateFeatures>& features,
                                                 const PlatePairs& pairs, double tolerance_share,
                                                 SolveMemory* memory, StageClock& clock);

/// For lens groups without any focal length: the one, among angles of view from 20 to 110 degrees,
/// at which the most promising pairs agree with most matches. The bundle adjustment refines it.
void searchFocalLengths(Cameras& cameras, const std::vector<PlateFeatures>& features,
                        const PlatePairs& pairs);

}  // namespace plateloom::stitch
