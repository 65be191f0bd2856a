// Where the first look puts the plates: hypotheses are chosen among, cameras are roughly adjusted,
// and what was left out is tried once more.
#pragma once

#include <vector>

#include "stitch/job/stage_clock.h"
#include "stitch/plates/cameras.h"
#include "stitch/solve/rotation_graph.h"
#include "stitch/ties/pair_search.h"

namespace plateloom::stitch {

struct FirstLook {
    PlatePairs tried;
    std::vector<PairRotation> hypotheses;
    RotationGraph graph;
};

/// Tries pairs, chooses, and adjusts with the chosen pairs' own matches, so that `cameras` hold to
/// a few pixels, plates of every group in their part. Lenses that were not known are refined, and
/// the choice is made again with them.
[[nodiscard]] FirstLook placePlates(Cameras& cameras, const std::vector<PlateFeatures>& features,
                                    SolveMemory* memory, StageClock& clock);

}  // namespace plateloom::stitch
