// Where a floating-point recording clips. Nothing in the file says so, but a clipped channel shows
// itself: very many pixels share its largest value exactly.
#pragma once

#include "io/picture.h"

namespace plateloom::io {

/// The lowest of the three channels' plateaus (after white balance each has its own), or infinity
/// when no channel has one. A plateau is the channel's largest value, shared exactly by at least
/// 32 pixels and 0.02 % of the picture, more than lie within 3 % below it (a smooth, unclipped
/// maximum has many more there). It may be nearly all of the picture, but not all: where fewer than
/// 32 pixels and 0.02 % of it lie below those 3 %, the picture is flat, and no level shows. Above
/// half of the picture nothing near below it may outnumber a tenth of it: fog, or a wall that fills
/// the frame, piles up as much in the few values of a half, but gradually.
[[nodiscard]] float findClipPlateau(const PlatePixels& pixels);

}  // namespace plateloom::io
