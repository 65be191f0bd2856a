// A camera that was knocked: from one frame on it stands otherwise against the mount's others, and
// stays so. Found in how much each camera turned apart from the mount (shake.h).
#pragma once

#include <string>
#include <vector>

#include "stitch/mount/mount.h"
#include "stitch/mount/shake.h"

namespace plateloom::stitch {

/// From this frame on a camera stands otherwise; its turn against before, in the camera's own axes.
struct Knock {
    int clip = 0;
    int64_t frame = 0;  ///< of the take: the first one after
    Matrix3d beforeFromAfter = Matrix3d::Identity();
};

/// In time, each clip's own. Steps of a quarter pixel and more that stand out of what the camera
/// does from frame to frame. `px_per_rad` is one a clip.
[[nodiscard]] std::vector<Knock> findKnocks(const std::vector<ShakeFrame>& shake,
                                            const std::vector<double>& px_per_rad);

/// "cam3 was knocked at frame 1024: it turned by 0.21 degrees (5.8 px)".
[[nodiscard]] std::string saidOf(const Knock& knock, const Take& take, double px_per_rad);

}  // namespace plateloom::stitch
