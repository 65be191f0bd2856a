// Whether the head turned about the entrance pupil, and if not, by how much it was off.
//
// A pupil that stands d before the axis moves when the head turns: a thing at distance z is seen
// displaced by d / z times how far the pupil's direction went, and no rotation explains that. With
// the rotations free, ties give q = d / z each, never negative, zero for what is far: the
// rotations are those that leave as little q as possible (a loss that is square below zero and
// for noise, straight above). What is across the displacement's direction can't come from the
// pupil, and measures the noise.
//
// Things at one distance all round look like a change of focal length: the lenses must be those of
// the lens data, not the solve's.
#pragma once

#include <map>
#include <optional>
#include <utility>
#include <vector>

#include "stitch/plates/light_store.h"
#include "stitch/plates/placed_plate.h"
#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

struct HeadOffset {
    /// How far the nearest things are displaced between neighbours, pixels: 98 of 100 ties less.
    double parallax_px = 0;
    /// d / z of the nearest things: times their distance it is the offset. Positive: the pupil
    /// stands before the axis.
    double offset_by_distance = 0;
    bool stands_out = false;                           ///< of the noise, in many pairs
    std::map<std::pair<int, int>, double> of_pair_px;  ///< by plates: 95 of 100 ties less
};

/// Nullopt where there are too few ties to tell. `ties`: those that the solve kept and those that
/// it refused; `placed[i].plate` are their plates. Where near things are displaced further than a
/// solve looks for them, pairs are registered again with more room, from `lights`.
[[nodiscard]] std::optional<HeadOffset> findHeadOffset(const std::vector<PlacedPlate>& placed,
                                                       const std::vector<Tie>& ties,
                                                       LightStore& lights);

}  // namespace plateloom::stitch
