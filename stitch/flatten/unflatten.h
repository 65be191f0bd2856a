// The lens look put back on a flat frame: for each recorded pixel its flat position, there one
// filtered value of each channel (or the nearest, see io/channel_kind.h), colour times what the
// lens lets through.
#pragma once

#include "calib/lens.h"
#include "stitch/flatten/frame_warp.h"

namespace plateloom::stitch {

/// For one part of the flat frame; its pixels have had their border filled
/// (stitch/flatten/flat_border.h). Where it has no sample every channel is 0. `part` and `lens`
/// must outlive what is returned.
[[nodiscard]] FrameWarp unflattening(const io::FramePart& part, const calib::LensMap& lens);

}  // namespace plateloom::stitch
