// Light of all placed plates brought to one: shading, where a lens came without it, then one gain a
// plate and channel. Each plate is read once for both.
#pragma once

#include <string>
#include <vector>

#include "io/solve_file.h"
#include "stitch/plates/plate_set.h"
#include "stitch/plates/plate_store.h"

namespace plateloom::stitch {

struct LightBalance {
    std::vector<std::string> notes;     ///< what was found
    std::vector<std::string> warnings;  ///< what could not be told
};

/// `solved` is one a plate; gain and shading of those placed are set.
LightBalance balanceLight(const std::vector<Plate>& plates, PlateStore& store,
                          std::vector<io::SolvedPlate>& solved);

}  // namespace plateloom::stitch
