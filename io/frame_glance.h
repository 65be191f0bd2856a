// A glance at a frame: how light it is, and whether it is the frame before again; by three strips
// of it, so that a whole clip can be looked at in a fraction of the time that reading it takes.
#pragma once

#include <cstdint>

#include "io/plate_file.h"

namespace plateloom::io {

struct FrameGlance {
    double light = 0;          ///< mean of R, G and B over the strips, scene-linear
    uint64_t fingerprint = 0;  ///< of the strips' samples as they are stored
};

/// Throws InputError for a frame that can't be read.
[[nodiscard]] FrameGlance glanceAt(const PlateFile& file);

}  // namespace plateloom::io
