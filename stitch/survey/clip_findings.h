// Findings about the frames of clips, whatever they show: told by clip and frame numbers.
#pragma once

#include <vector>

#include "io/clip_faults.h"
#include "stitch/clips/take.h"
#include "stitch/survey/clip_study.h"
#include "stitch/survey/survey.h"

namespace plateloom::stitch {

/// Of one clip of a take.
[[nodiscard]] std::vector<Finding> clipFindings(const TakeClip& clip, const io::ClipFaults& faults,
                                                const ClipStudy& study);

/// What a clip's rings did from moment to moment (those that it is in): focus, iris, focal length.
[[nodiscard]] std::vector<Finding> ringFindings(const Take& take,
                                                const std::vector<Moment>& moments);

}  // namespace plateloom::stitch
