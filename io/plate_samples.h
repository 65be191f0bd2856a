// Which lens sample belongs to which plate: by timecode, else by clip or file name, else by order
// when the counts agree. What is ambiguous is refused, never guessed.
//
// Timecodes are compared as labels, whatever the drop-frame flags and fractions say, and across
// rates as moments within their second. A plate between two samples of a running track has the lens
// between them (io/track_timeline.h); one in a gap of the track is refused. Once both sides have
// timecodes the order is never used: a track that does not overlap is the wrong track. Only where
// several plates all bear one and the same timecode, and it does not tie them, does it count as
// none (some exporters write 00:00:00:00).
#pragma once

#include <memory>
#include <string>
#include <vector>

#include "io/lens_track.h"
#include "io/plate_file.h"

namespace plateloom::io {

struct PlateSamples {
    enum class TiedBy {
        timecode,
        name,
        order,
        only  ///< a single sample without time, place or name: a lens that holds for every plate
    };
    TiedBy tied_by = TiedBy::order;
    std::vector<const LensSample*>
        sample;  ///< one a plate, pointing into the tracks or into `between`; never null
    std::vector<int> track;  ///< one a plate: which track its sample is in
    std::vector<std::shared_ptr<const LensSample>> between;  ///< those that no track holds itself
    std::string said;  ///< for people: "22 plates tied to lens samples by timecode"
};

/// Throws InputError: no matching timecode (names the first plate and the track's range), a
/// plate in a gap of the track (names both), two different samples for one timecode, fewer samples
/// than plates.
/// `one_camera`: several plates of one moment are elements of one frame and share its sample.
[[nodiscard]] PlateSamples tieSamples(const std::vector<PlateFile>& plates,
                                      const std::vector<LensTrack>& tracks,
                                      bool one_camera = false);

}  // namespace plateloom::io
