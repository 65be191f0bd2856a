// Runs of frames, for whatever is told of many frames at once.
#pragma once

#include <cstdint>
#include <utility>
#include <vector>

namespace plateloom::stitch {

using FrameRun = std::pair<int64_t, int64_t>;  ///< first and last, both in it

/// `frames` in rising order.
[[nodiscard]] std::vector<FrameRun> runsFrom(const std::vector<int64_t>& frames);

}  // namespace plateloom::stitch
