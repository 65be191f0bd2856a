// At which distance each overlap of an array agrees, and how much parallax is left when the
// panorama is composed for another.
#pragma once

#include <string>
#include <vector>

#include "stitch/mount/mount.h"
#include "stitch/mount/mount_bundle.h"

namespace plateloom::stitch {

/// One a pair of cameras that ties hold together and whose pupils are known and apart.
/// `clip_of_body` says which of the mount's cameras each body of the ties is.
[[nodiscard]] std::vector<OverlapDistance> overlapDistances(const Mount& mount,
                                                            const std::vector<int>& clip_of_body,
                                                            const std::vector<MountTie>& ties,
                                                            const MountBundle& bundle);

/// "25 m", "infinity".
[[nodiscard]] std::string distanceInWords(double inverse_m);

}  // namespace plateloom::stitch
