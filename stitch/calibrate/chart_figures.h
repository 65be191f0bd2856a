// What is told of a measured lens besides its numbers: where in the frame the chart's points lie,
// the distortion against image height, how straight the chart's lines have become.
#pragma once

#include "stitch/calibrate/chart_measurement.h"

namespace plateloom::stitch {

[[nodiscard]] ChartSupport supportOf(const std::vector<ChartPicture>& pictures,
                                     const calib::Sensor& sensor);

[[nodiscard]] std::vector<DistortionAt> distortionCurve(const calib::Lens& lens,
                                                        const calib::Sensor& sensor,
                                                        double supported_mm);

/// Rows and columns of the board with four points at least, each against its best straight line
/// (total least squares). `px`: one a point of the picture, recorded or flattened.
[[nodiscard]] Straightness straightnessOf(const calib::ChartBoard& board,
                                          const std::vector<ChartPoint>& points,
                                          const std::vector<calib::Vector2d>& px);

/// Of the lines of all used pictures together.
[[nodiscard]] Straightness together(const std::vector<ChartPicture>& pictures,
                                    Straightness ChartPicture::*which);

}  // namespace plateloom::stitch
