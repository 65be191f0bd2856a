// Which plates were taken through one and the same lens setting, so that whatever of the lens has
// to be solved is solved once for all of them.
#pragma once

#include <string>
#include <vector>

#include "stitch/plates/plate_set.h"

namespace plateloom::stitch {

/// Whether a lens track or table said it, not a person or EXIF.
[[nodiscard]] bool focalIsMeasured(const Plate& plate);

/// Sets each plate's lens_group, counted from 0 in the plates' order, and its known_breathing.
/// `identity` says per plate whose lens it is (camera, track). A group also shares the sensor's
/// width and the picture's shape (or has them turned by a quarter, where the distortion is not
/// known: quarter_turn), and what is known of the lens; where something has to be solved, the focal
/// length too (within 0.5 %, or 2 % where it was measured plate by plate).
void groupByLens(const std::vector<std::string>& identity, std::vector<Plate>* plates);

}  // namespace plateloom::stitch
