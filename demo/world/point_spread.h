// From light on a fine grid to a recorded picture: the lens's blur, the pixel's own square, noise.
#pragma once

#include "io/picture.h"

namespace plateloom::world {

/// How far, in pixels, the grid has to reach beyond the picture's edges. `aperture_px`: the side of
/// the square that gathers light; more than 1 for a picture finer than the recording's own pixels.
[[nodiscard]] int spreadMargin_px(double blur_px, double aperture_px = 1);

/// The picture of a grid of `samples` x `samples` cells a pixel, with its margin: each pixel is its
/// own square spread by a Gaussian of `blur_px`. 3 or 7 channels.
[[nodiscard]] io::Picture gatherPixels(const io::Picture& grid, int samples, double blur_px,
                                       double aperture_px = 1);

/// Photon-like noise, one sigma `noise` at 1.0, with read noise as a share of it. The same for a
/// seed whatever the number of threads.
void addNoise(io::Picture& picture, double noise, double read_noise, uint32_t seed);

}  // namespace plateloom::world
