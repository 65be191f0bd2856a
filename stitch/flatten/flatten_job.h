// `flatten` over many plates: which lens, which name, one after the other.
#pragma once

#include "stitch/flatten/flatten.h"
#include "stitch/flatten/frame_job.h"

namespace plateloom::stitch {

struct FlattenJob : FrameJob {
    Fit fit = Fit::overscan;
};

/// Throws io::InputError, before anything is written, when two plates would get the same name or
/// one would be written over itself; io::RoomError when the folder can't be written.
[[nodiscard]] MadeFrames flattenJob(const FlattenJob& request, const Progress& progress);

}  // namespace plateloom::stitch
