// `unflatten` over many frames: which lens, which name, one after the other.
#pragma once

#include <string>
#include <vector>

#include "stitch/flatten/frame_job.h"

namespace plateloom::stitch {

/// A frame whose flat picture does not reach everywhere that the lens looks.
struct UncoveredFrame {
    std::string file;
    double share = 0;  ///< of the recorded frame
};

struct UnflattenedFrames : MadeFrames {
    std::vector<UncoveredFrame> uncovered;
};

/// `half` counts for frames that are not EXR; EXR frames keep each channel's type.
/// Holds one frame at a time. Throws io::InputError, before anything is written, when two frames
/// would get the same name or one would be written over itself; io::RoomError when the folder can't
/// be written.
[[nodiscard]] UnflattenedFrames unflattenJob(const FrameJob& request, const Progress& progress);

}  // namespace plateloom::stitch
