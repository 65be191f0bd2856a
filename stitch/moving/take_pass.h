// The whole take looked at once, frame after frame, in memory that does not grow with its length:
// how the mount shook and whether a camera was knocked, how light went, what crosses the seams,
// which frames are black.
#pragma once

#include <string>
#include <vector>

#include "stitch/mount/shake.h"
#include "stitch/moving/seam_plan.h"
#include "stitch/moving/take_frame.h"
#include "stitch/solve/solve.h"

namespace plateloom::stitch {

/// Cells across the overviews of a take, at its solve and when its frames are made.
constexpr int kTakeOverviewAcross = 1024;

struct TakePass {
    std::vector<ShakeFrame> shake;   ///< of an array, one a frame
    std::vector<CameraLight> light;  ///< one a clip
    SeamPlan seams;                  ///< labels are indices of the placed cameras
    std::vector<BlackRun> black;
    double typical_light = 0;  ///< median luminance, gains applied
    std::vector<std::string> notes, warnings;
};

/// `solved.mount` is used, and what of the shake is taken out, so that what crosses the seams is
/// told from what only shook; light and black frames are found here. Throws io::InputError as
/// Take::at does, and for frames that can't be read.
[[nodiscard]] TakePass passOverTake(const Take& take, const SolvedTake& solved,
                                    const Progress& progress, std::vector<StageTime>* times);

}  // namespace plateloom::stitch
