// Turns frame by frame, some of them not known: what lies between, and their mean.
#pragma once

#include <optional>
#include <vector>

#include "calib/sensor.h"

namespace plateloom::stitch {

using calib::Matrix3d;

/// Where a turn is not known, on the shortest way from the one before to the one after, in even
/// steps; before the first and after the last known one it is theirs. All identities when none is.
[[nodiscard]] std::vector<Matrix3d> bridged(const std::vector<std::optional<Matrix3d>>& turns);

/// The rotation nearest to their sum: the chordal mean (Hartley and others, "Rotation Averaging",
/// International Journal of Computer Vision 103, 2013).
[[nodiscard]] Matrix3d meanTurn(const std::vector<Matrix3d>& turns);

}  // namespace plateloom::stitch
