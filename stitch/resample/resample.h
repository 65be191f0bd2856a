// The one resample. Takes a value out of a recorded plate at a sub-pixel place with a windowed-sinc
// filter that widens with the local scale, so that it neither aliases nor softens. See
// filter_bank.h for the kernel and resample_loop.h for the loop, their accuracy and their cost.
#pragma once

#include <cstddef>

#include "io/picture.h"
#include "stitch/resample/bright_light.h"

namespace plateloom::stitch {

/// Where one output pixel falls on the plate and how large it is there.
struct SamplePoint {
    float x = 0, y = 0;  ///< plate pixels, centre of the first pixel at 0.5
    float scale_x = 1,
          scale_y =
              1;  ///< plate pixels per output pixel along each plate axis; below 1 counts as 1
};

/// `count` samples into `rgba` (4 floats each), associated: all four channels go through one filter
/// and one bound, so that colour / alpha stays within what the nearest pixels hold. Where the
/// filter's centre lies in a hole of the plate or off the frame all four are 0; near a hole the
/// filter is renormalised over the samples, beyond the frame's edge the picture goes on as it came.
/// Light far above its surroundings is filtered by itself: `bright`, the plate's own
/// (bright_light.h, which states what the filter preserves); null where there is none.
void resample(const io::PlatePixels& plate, const BrightLight* bright, const SamplePoint* points,
              size_t count, float* rgba);

/// The same of the whole plate with a cubic B-spline as wide as 4 output pixels: no
/// overshoot at all, soft; for the small plates that seams and bands are made from. Alpha is the
/// covered share under the filter (outside the frame nothing is), RGB the mean over that share, not
/// associated.
void resampleSmooth(const io::PlatePixels& plate, const SamplePoint* points, size_t count,
                    float* rgba);

}  // namespace plateloom::stitch
