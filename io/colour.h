// Scene-linear in, display out: OpenColorIO with $OCIO, else curves of our own from the standards
// (sRGB IEC 61966-2-1, Rec.709 inverse OETF BT.709, ACEScct S-2016-001, ACEScc S-2014-003).
#pragma once

#include <string>
#include <vector>

#include "io/picture.h"

namespace plateloom::io {

/// Turns RGB (the first three of `channels` values a pixel) from `colour_space` into scene-linear,
/// in place. "scene_linear", "Linear", "lin_rec709" and the like leave it alone. Throws InputError
/// for a name that neither the configuration nor the built-in curves know, listing some that they
/// do.
void linearize(float* pixels, size_t count, int channels, const std::string& colour_space);

/// The largest value that 8- to 16-bit code values can come to in this colour space (code value 1).
[[nodiscard]] float linearWhite(const std::string& colour_space);

/// Scene-linear to an sRGB display value in [0, 1], after `exposure` (a factor) and a soft shoulder
/// above 0.8, for previews and thumbnails that a person looks at.
[[nodiscard]] float displayFromLinear(float value, float exposure);

}  // namespace plateloom::io
