// The one resample. Takes a value out of a recorded plate at a sub-pixel place with a windowed-sinc
// filter that widens with the local scale, so that it neither aliases nor softens. See resample.cpp
// for the kernel, its measured accuracy and its cost.
#pragma once

#include <cstddef>

#include "io/picture.h"

namespace plateloom::stitch {

/// Where one output pixel falls on the plate and how large it is there.
struct SamplePoint {
    float x = 0, y = 0;  ///< plate pixels, centre of the first pixel at 0.5
    float scale_x = 1,
          scale_y = 1;  ///< plate pixels per output pixel along each plate axis, >= 1 after clamp
};

/// `count` samples into `rgba` (4 floats each). Alpha is 1 where the filter's centre lies on valid
/// pixels, else 0 with RGB 0; near invalid pixels the filter is renormalised over the valid ones.
void resample(const io::PlatePixels& plate, const SamplePoint* points, size_t count, float* rgba);

}  // namespace plateloom::stitch
