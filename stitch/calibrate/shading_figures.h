// What a shading fit means, in figures and words for people: profiles, falloff at image heights and
// what of it is natural, remarks.
#pragma once

#include "stitch/calibrate/shading_measurement.h"

namespace plateloom::stitch {

/// Each setting's focal length: the chart's, else the nominal one; 0 where none is known.
[[nodiscard]] std::vector<double> focalLengths_mm(const ShadingMeasurement& measured,
                                                  const std::optional<calib::LensLookup>& geometry);

/// Brightest against darkest place of the frame along the lamp's steepest way.
[[nodiscard]] double lampTilt_stops(const calib::FittedPicture& fitted,
                                    const std::vector<calib::FieldCell>& cells,
                                    const calib::Sensor& sensor);

/// Robust sigma of what the fit leaves, over all cells with light, relative.
[[nodiscard]] double typicalRest(const ShadingPicture& picture);

/// Counts, RMS and profile of each setting. `cells`: of each picture.
void describeSettings(const std::vector<std::vector<calib::FieldCell>>& cells,
                      ShadingMeasurement* measured);

/// Falloff at image heights.
void describeHeights(const std::vector<double>& focals_mm,
                     const std::optional<calib::LensLookup>& geometry,
                     ShadingMeasurement* measured);

/// Notes and warnings.
void remark(bool focal_known, ShadingMeasurement* measured);

}  // namespace plateloom::stitch
