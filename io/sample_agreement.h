// Whether two lens samples say the same.
#pragma once

#include "io/lens_track.h"

namespace plateloom::io {

/// The lens and the sensor exactly, the pose but for a tracker's noise (half a degree).
[[nodiscard]] bool agree(const LensSample& a, const LensSample& b);

}  // namespace plateloom::io
