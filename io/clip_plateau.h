// Where a floating-point recording clips. Nothing in the file says so, but a clipped channel shows
// itself: very many pixels share its largest value exactly.
#pragma once

#include "io/picture.h"

namespace plateloom::io {

/// The lowest of the three channels' plateaus (after white balance each has its own), or infinity
/// when no channel has one. A plateau is the channel's largest value, shared exactly by at least
/// 32 pixels and 0.02 % of the picture, more than lie within 3 % below it (a smooth, unclipped
/// maximum has many more there), and by no more than half of the picture (else it is flat).
[[nodiscard]] float findClipPlateau(const PlatePixels& pixels);

}  // namespace plateloom::io
