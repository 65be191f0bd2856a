// Whether two plates, laid over each other as a rotation says, show the same picture. Matches of
// repeated windows agree with each other on a rotation that is a window or two off; the picture as
// a whole then does not.
#pragma once

#include <optional>

#include "calib/lens.h"
#include "stitch/ties/features.h"

namespace plateloom::stitch {

/// Correlation (-1 to 1) of the two plates' thumbnails over what they share, less what chance could
/// make of an overlap of that size. Nullopt where it is too small, or too plain, to say.
[[nodiscard]] std::optional<double> overlapLikeness(const PlateFeatures& a, const PlateFeatures& b,
                                                    const calib::LensMap& lens_a,
                                                    const calib::LensMap& lens_b,
                                                    const Matrix3d& bFromA);

}  // namespace plateloom::stitch
