// Clips laid side by side in time: by how many frames each one's numbers are ahead of the first
// one's, and the range that all of them have.
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "io/clip.h"

namespace plateloom::stitch {

enum class Rolled { array, in_turn };

/// What ties clips in time. `automatic`: timecode where all clips of an array have it, first frames
/// where none has.
enum class Sync { automatic, first_frame };

struct ClipTimes {
    std::vector<int64_t> ahead;   ///< one a clip: its frame number less the first clip's
    int64_t first = 0, last = 0;  ///< common range in the first clip's numbers, both included
    std::optional<io::FrameRate> rate;
    std::vector<std::string> notes, warnings;
};

/// `offsets`: by clip name, frames by which the clip is moved later. Clips shot in turn share no
/// time: they are tied by their first frames. Timecodes are compared as frame numbers at the common
/// rate (ST 12-1), across midnight whichever way is nearer. Throws io::InputError: unlike rates, an
/// unknown name in `offsets`, some clips of an array with timecode and some without, clips that
/// have no frame in common.
[[nodiscard]] ClipTimes timesOf(const std::vector<io::Clip>& clips, Rolled rolled, Sync sync,
                                const std::map<std::string, int64_t>& offsets);

}  // namespace plateloom::stitch
