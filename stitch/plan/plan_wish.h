// A plan's wish from what a person typed: sizes, ranges, and a lens track or a focal length.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "stitch/plan/plan.h"

namespace plateloom::stitch {

struct PlanRequest {
    calib::Sensor sensor;    ///< what is 0 of it is as the lens track says
    double focal_mm = 0;     ///< 0: as the lens track says
    std::string lens_track;  ///< a file; its sample that sees least is used
    double overlap_percent = 30;
    std::pair<double, double> pan_deg{-180, 180}, tilt_deg{-40, 40};  ///< to cover
    bool zenith = false, nadir = false;
};

/// Throws io::InputError for what does not parse, is missing, or makes an unusable lens. `notes`
/// gets what a person should know of the choices made.
[[nodiscard]] PlanWish planWish(const PlanRequest& request, std::vector<std::string>* notes);

}  // namespace plateloom::stitch
