// A picture of a chart, made ready for detection, whatever its file: scene-linear EXR, film or
// video code values, JPEG.
//
// Detection looks at tones, positions are measured in light: a blurred edge or dot keeps its place
// in linear light, and a board in shade and one in sun have much the same tones. The rule:
//     light = 0.2126 R + 0.7152 G + 0.0722 B              (ITU-R BT.709-6, item 3.2)
//     tone  = 255 (light / white)^(1/2.2), held to 0 .. 255;  white = the 99th percentile of light
#pragma once

#include <opencv2/core.hpp>

#include "io/plate_file.h"

namespace plateloom::stitch {

struct ChartLight {
    cv::Mat light;  ///< CV_32F, scene-linear
    cv::Mat tone;   ///< CV_32F, 0 .. 255
};

/// Reads the picture. Throws io::InputError when it is damaged.
[[nodiscard]] ChartLight readChartLight(const io::PlateFile& file);

/// `white_share`: the percentile of light that becomes white; boards in the shade of a bright
/// picture need less.
[[nodiscard]] cv::Mat tonesOf(const cv::Mat& light, double white_share);

}  // namespace plateloom::stitch
