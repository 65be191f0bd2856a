// A take's solve in figures, for people and as JSON.
#pragma once

#include <nlohmann/json.hpp>

#include "stitch/cli/commands.h"
#include "stitch/moving/solve_take.h"

namespace plateloom::cli {

void tell(const stitch::Take& take, const stitch::TakeSolve& solve);
[[nodiscard]] nlohmann::json summaryOf(const stitch::Take& take, const stitch::TakeSolve& solve);
/// 1 when a camera has no place, was knocked, is black or lacks frames.
[[nodiscard]] ExitStatus statusOf(const stitch::Take& take, const stitch::TakeSolve& solve);

}  // namespace plateloom::cli
