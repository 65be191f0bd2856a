// What lies round the recorded part of a flat frame. The filter that puts the look back reaches a
// few pixels beyond what was recorded, where a flat plate holds nothing; taken as black that would
// darken the frame's rim. So there the picture goes on as it came, as resample.h has it at a
// frame's edge.
#pragma once

#include "calib/lens.h"
#include "io/frame_file.h"

namespace plateloom::stitch {

/// Of the pixels that hold nothing (every filtered channel 0) and lie beyond the recorded frame,
/// those within eight pixels of others are filled, the rest marked as no sample. A hole within the
/// frame is what the compositor left there, and stays.
void fillFlatBorder(const io::FramePart& part, const calib::LensMap& lens, io::FramePixels& pixels);

}  // namespace plateloom::stitch
