// All frames of a clip at a glance: which of them are black, which show the frame before again, and
// which can't be read.
#pragma once

#include <cstdint>
#include <string>
#include <utility>
#include <vector>

#include "io/clip.h"
#include "io/frame_glance.h"

namespace plateloom::stitch {

struct ClipStudy {
    std::vector<int64_t> black;   ///< their light falls to nothing against the clip's other frames
    std::vector<int64_t> frozen;  ///< the picture before again, sample for sample
    std::vector<std::pair<int64_t, std::string>> damaged;  ///< and why
};

/// Frames [first, last] of a clip, as far as they are there; several at once. A frame is black that
/// has less than 1/64 of the light (six stops) which frames about it have: a scene gets dark at
/// once, but not by that much and for a few frames only.
[[nodiscard]] ClipStudy studyClip(const io::Clip& clip, int64_t first, int64_t last);

/// What glances at successive frames tell; one a number.
[[nodiscard]] std::vector<size_t> blackOnes(const std::vector<double>& light);

}  // namespace plateloom::stitch
