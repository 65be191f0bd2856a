// Which lens sample belongs to which plate: by timecode, else by clip or file name, else by order
// when the counts agree. What is ambiguous is refused, never guessed.
#pragma once

#include <string>
#include <vector>

#include "io/lens_track.h"
#include "io/plate_file.h"

namespace plateloom::io {

struct PlateSamples {
    enum class TiedBy { timecode, name, order };
    TiedBy tied_by = TiedBy::order;
    std::vector<const LensSample*> sample;  ///< one a plate, pointing into the tracks; never null
    std::string said;  ///< for people: "22 plates tied to lens samples by timecode"
};

/// Throws InputError: no matching timecode (names the first plate and the track's range), two
/// different samples for one timecode, fewer samples than plates.
[[nodiscard]] PlateSamples tieSamples(const std::vector<PlateFile>& plates,
                                      const std::vector<LensTrack>& tracks);

}  // namespace plateloom::io
