// The mount's shake taken out of the panorama: locked, as if the mount had stood still, or made to
// follow a smooth path, as a mount that travels should.
#pragma once

#include <cstdint>
#include <vector>

#include "stitch/mount/shake.h"

namespace plateloom::stitch {

enum class Steady { none, lock, follow };

/// What was taken out, one a frame: the mount's turn against where it should have stood, so that
/// worldFromCamera = turn x mountFromCamera. Its mean over the take is no turn, so the horizon
/// stays where the solve put it. Frames whose shake is not known stand between their neighbours.
/// `follow_frames` is how far the smooth path looks to either side. Identities for Steady::none.
[[nodiscard]] std::vector<Matrix3d> takenOut(const std::vector<ShakeFrame>& shake, Steady steady,
                                             int follow_frames = 24);

}  // namespace plateloom::stitch
