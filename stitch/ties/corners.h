// Textured places, spread evenly over a part of a plate: where a patch can be registered in both
// directions (Shi and Tomasi, Good Features to Track, CVPR 1994: the smaller eigenvalue of the
// patch's gradient matrix).
#pragma once

#include <functional>
#include <vector>

#include "stitch/ties/features.h"

namespace plateloom::stitch {

struct Corner {
    Vector2d px = Vector2d::Zero();  ///< centre of a pixel
    float strength = 0;  ///< smaller eigenvalue, mean over the patch; (log light / px)²
};

/// At most one corner a cell, with as many cells as `wanted` over the part of the plate for which
/// `inside` holds. The patch around a corner is valid to its edge.
[[nodiscard]] std::vector<Corner> spreadCorners(const LightPicture& light,
                                                const std::function<bool(const Vector2d&)>& inside,
                                                int wanted, int patch_px);

}  // namespace plateloom::stitch
