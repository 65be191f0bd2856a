// A measured lens in words, and in JSON.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "stitch/calibrate/chart_job.h"

namespace plateloom::stitch {

[[nodiscard]] std::vector<std::string> linesOf(const ChartMeasurement& lens);
[[nodiscard]] nlohmann::json jsonOf(const ChartJob& job);

}  // namespace plateloom::stitch
