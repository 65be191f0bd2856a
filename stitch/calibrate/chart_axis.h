// One optical axis for all focus settings of a lens, where their charts allow it: see
// calib/axis_over_focus.h. Settings that agree about it within their uncertainties are measured
// again with the common axis held, and the pictures left out of the solves decide.
#pragma once

#include <string>
#include <vector>

#include "stitch/calibrate/chart_measure.h"

namespace plateloom::stitch {

/// `lenses[i]` is what came of `tasks[i]`. Settings of one focal length on the barrel, three at
/// least, all with their axis solved. Returns a line for each such lens.
std::vector<std::string> shareAxis(const std::vector<ChartTask>& tasks,
                                   std::vector<ChartMeasurement>* lenses);

}  // namespace plateloom::stitch
