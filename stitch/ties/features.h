// Features for matching, detected on the recorded plate at reduced size after shading is divided
// out and light is compressed (log), so that night plates and skies with a sun in them tie as well
// as grey days.
#pragma once

#include <opencv2/core.hpp>

#include "stitch/plates/light_picture.h"
#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

struct PlateFeatures {
    std::vector<Vector2d> recorded_px;
    std::vector<float> size_px, angle_deg, response;
    cv::Mat descriptors;  ///< a row a feature
    cv::Mat thumbnail;    ///< CV_32F, the whole plate, local contrast made equal; for likeness
};

/// At most about `wanted` features, spread evenly over the plate. The detector's own bias is taken
/// out (see the .cpp for what was measured).
[[nodiscard]] PlateFeatures detectFeatures(const LightPicture& light, int wanted);

}  // namespace plateloom::stitch
