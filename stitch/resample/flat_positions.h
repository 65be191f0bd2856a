// Recorded and flat pixel positions of one another: both count in the recorded frame's pixels, from
// its upper left corner.
#pragma once

#include <optional>

#include "calib/lens.h"

namespace plateloom::stitch {

/// Nothing where the lens has no answer.
[[nodiscard]] std::optional<calib::Vector2d> flatFromRecorded(const calib::LensMap& lens,
                                                              const calib::Vector2d& recorded_px);
[[nodiscard]] std::optional<calib::Vector2d> recordedFromFlat(const calib::LensMap& lens,
                                                              const calib::Vector2d& flat_px);

}  // namespace plateloom::stitch
