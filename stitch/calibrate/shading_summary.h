// A measured shading in words, and in JSON.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "stitch/calibrate/shading_measurement.h"

namespace plateloom::stitch {

[[nodiscard]] std::vector<std::string> linesOf(const ShadingMeasurement& measured);
[[nodiscard]] nlohmann::json jsonOf(const ShadingMeasurement& measured);

}  // namespace plateloom::stitch
