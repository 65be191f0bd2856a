// Poses that came with the plates (tracked, or read off a head) held against what their ties say.
#pragma once

#include <string>
#include <vector>

#include "stitch/plates/cameras.h"

namespace plateloom::stitch {

struct PoseCheck {
    std::vector<int> off;  ///< plates whose pose contradicts the ties
    double worst_deg = 0;  ///< the largest contradiction among them
    /// The head counts pan clockwise: with pans negated the poses agree with the ties.
    bool mirrored = false;
    double worst_mirrored_deg = 0;  ///< the largest contradiction that is left then

    /// What to tell people; "" where nothing contradicts.
    [[nodiscard]] std::string inWords(const Cameras& cameras) const;
};

/// Of the plates of `group`, which hang together by ties. A pose contradicts them when it is off by
/// more than 5 sigmas of its own, and by 3 degrees at least, after the turn that most poses agree
/// on. Needs two poses.
[[nodiscard]] PoseCheck checkPoses(const Cameras& cameras, const std::vector<int>& group);

/// Pans of all poses negated.
void mirrorPans(Cameras& cameras);

}  // namespace plateloom::stitch
