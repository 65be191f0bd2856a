// Features for matching, detected on the recorded plate at reduced size after shading is divided
// out and light is compressed (log), so that night plates and skies with a sun in them tie as well
// as grey days.
#pragma once

#include <opencv2/core.hpp>

#include "calib/lens.h"
#include "io/picture.h"
#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

/// Log-luminance of a plate with shading divided out: one float a pixel, plus which pixels hold a
/// picture. Equal contrast in light is equal difference here, wherever it lies between deep shadow
/// and lamp; below the noise floor it flattens out.
struct LightPicture {
    cv::Mat log_light;  ///< CV_32F, full plate size; natural log units
    cv::Mat valid;      ///< CV_8U, 255 where the plate holds an unclipped picture
};
[[nodiscard]] LightPicture lightPicture(const io::PlatePixels& pixels, const calib::LensMap& lens);

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
