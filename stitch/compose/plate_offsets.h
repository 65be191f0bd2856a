// What is left of the plates' differences in exposure: one offset a plate and channel.
#pragma once

#include <array>
#include <vector>

#include "stitch/compose/overview.h"

namespace plateloom::stitch {

/// Stops by which each plate is brighter than the others would have it; their sum is about 0. Least
/// squares over all cells that two plates share, cells on which they disagree counting little.
/// Small after exposure was balanced: bands need it to tell a plate's exposure from the scene.
[[nodiscard]] std::vector<std::array<float, 3>> plateOffsets(const Overview& overview);

}  // namespace plateloom::stitch
