// The lens look put back on a flat frame: for each recorded pixel its flat position, there one
// filtered value of each channel (or the nearest, see io/channel_kind.h), colour times what the
// lens lets through.
#pragma once

#include "calib/lens.h"
#include "io/frame_file.h"

namespace plateloom::stitch {

/// Rows are made in strips of this many, but for the last.
inline constexpr int kStripRows = 16;

/// Recorded rows [y, y + rows) of one part into `samples`, as io::FrameWriter wants them; y is a
/// multiple of kStripRows. Where the flat frame has no sample every channel is 0. Returns how many
/// pixels that are. `pixels` have had their border filled (stitch/flatten/flat_border.h).
size_t unflattenRows(const io::FramePart& part, const io::FramePixels& pixels,
                     const calib::LensMap& lens, int y, int rows, char* samples);

}  // namespace plateloom::stitch
