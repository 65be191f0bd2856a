// Frames one by one, whatever they are frames of: for `flatten` and `unflatten`, which need no
// moment but each frame's own lens.
#pragma once

#include "stitch/plates/plate_set.h"

namespace plateloom::stitch {

/// As gatherPlates. Several clips (patterns and movies) that come with several lens tracks tie each
/// to its own (clip_lenses.h): there two cameras have different lenses at one timecode.
[[nodiscard]] PlateSet gatherFrames(const PlateArguments& arguments);

}  // namespace plateloom::stitch
