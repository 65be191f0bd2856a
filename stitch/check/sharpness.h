// How sharp each plate is against its neighbours. Where two plates show the same thing, the energy
// of its finest detail (by cells, noise and exposure taken off) is the same if both are sharp; a
// soft plate has less. All pairs together give one figure a plate by weighted least squares, like
// the exposures.
#pragma once

#include <optional>
#include <utility>
#include <vector>

#include "stitch/check/plate_study.h"
#include "stitch/plates/placed_plate.h"

namespace plateloom::stitch {

/// One a plate: its detail over the detail that its neighbours show of the same places; 1 is as
/// sharp as the median plate. Nullopt where too little textured picture is shared to say.
/// `detail[i]` belongs to `plates[i]`;
/// `pairs` are indices of plates that overlap.
[[nodiscard]] std::vector<std::optional<double>> sharpnessOf(
    const std::vector<PlacedPlate>& plates, const std::vector<const DetailCells*>& detail,
    const std::vector<std::pair<size_t, size_t>>& pairs);

}  // namespace plateloom::stitch
