// The solve and the job in figures: for people as lines, for machines as JSON.
#pragma once

#include <nlohmann/json.hpp>

#include "stitch/cli/commands.h"
#include "stitch/solve/solve.h"

namespace plateloom::cli {

[[nodiscard]] std::string stageLine(const stitch::StageTime& time);
[[nodiscard]] nlohmann::json stagesOf(const std::vector<stitch::StageTime>& times);
[[nodiscard]] nlohmann::json pathsOf(const std::vector<std::filesystem::path>& paths);
[[nodiscard]] nlohmann::json summaryOf(const stitch::Solve& solve);
/// Notes, warnings, what was placed and how well, and where the time went.
void tell(const stitch::Solve& solve);
/// 1 when a plate could not be placed or the plates fall into groups that do not overlap.
[[nodiscard]] ExitStatus statusOf(const stitch::Solve& solve);

}  // namespace plateloom::cli
