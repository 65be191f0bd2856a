#include "stitch/moving/frame_runs.h"

namespace plateloom::stitch {

std::vector<FrameRun> runsFrom(const std::vector<int64_t>& frames) {
    std::vector<FrameRun> runs;
    for (const int64_t frame : frames)
        if (!runs.empty() && runs.back().second == frame - 1)
            runs.back().second = frame;
        else
            runs.emplace_back(frame, frame);
    return runs;
}

}  // namespace plateloom::stitch
