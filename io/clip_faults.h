// What is wrong with the frames of a clip by their names, sizes and headers: numbers that are
// missing, timecodes that do not run with the numbers, a frame that is there twice.
//
// Headers are read of 64 frames at most, evenly spread (of all frames where there are no more; of 8
// where the first has no timecode), and then between those where the timecode lost or won frames: a
// clip's length costs nothing. Two slips of the timecode that undo one another between two frames
// that are read go unseen.
#pragma once

#include <cstdint>
#include <string>
#include <utility>
#include <vector>

#include "io/clip.h"

namespace plateloom::io {

/// Between two frames that follow one another.
struct TimecodeSlip {
    int64_t before = 0, after = 0;  ///< their numbers
    Timecode timecode_before, timecode_after;
    int64_t frames = 0;  ///< by which the timecode gained on the numbers; below 0: it lost
};

struct ClipFaults {
    std::vector<int64_t> missing;   ///< between the first and the last
    std::vector<int64_t> repeated;  ///< byte for byte the frame before
    /// Of those looked at: why Clip::frame refuses them.
    std::vector<std::pair<int64_t, std::string>> refused;
    std::vector<int64_t> no_timecode;  ///< of those looked at, while the first has one
    std::vector<TimecodeSlip> slips;
    bool timecode_stands = false;  ///< every frame says the same
    bool slips_at_random = false;  ///< too many slips to be told one by one: `slips` has the first
};

/// Timecodes are not looked at where `clip.rate` is missing.
[[nodiscard]] ClipFaults faultsOf(const Clip& clip);

/// One sentence a kind, with the clip's name: "cam1: frames 1010-1013 are missing".
[[nodiscard]] std::vector<std::string> inWords(const ClipFaults& faults, const Clip& clip);

/// The rate that the timecodes of a clip count in, where its files do not say it: the one usual
/// rate at which they run with the frame numbers. Nullopt where there is none, or more than one.
[[nodiscard]] std::optional<FrameRate> rateByTimecode(const Clip& clip);

}  // namespace plateloom::io
