// What ties are looked for in: a plate's light, with shading divided out.
#pragma once

#include <opencv2/core.hpp>

#include "calib/lens.h"
#include "io/picture.h"

namespace plateloom::stitch {

/// Log-luminance of a plate with shading divided out: one float a pixel, plus which pixels hold a
/// picture. Equal contrast in light is equal difference here, wherever it lies between deep shadow
/// and lamp; below the noise floor it flattens out.
struct LightPicture {
    cv::Mat log_light;  ///< CV_32F, full plate size; natural log units
    cv::Mat valid;      ///< CV_8U, 255 where the plate holds an unclipped picture
};
[[nodiscard]] LightPicture lightPicture(const io::PlatePixels& pixels, const calib::LensMap& lens);

}  // namespace plateloom::stitch
