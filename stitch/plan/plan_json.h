// A plan for machines, and its rows as lines for a terminal.
#pragma once

#include <nlohmann/json.hpp>
#include <string>

#include "stitch/plan/plan_list.h"

namespace plateloom::stitch {

[[nodiscard]] nlohmann::json jsonOf(const Plan& plan, const PlanWish& wish, const PlanTerms& terms,
                                    const io::ShotList& list);

/// A line a row: tilt, the numbers of its shots, their pans; no wider than 96 characters.
[[nodiscard]] std::string rowsText(const io::ShotList& list);
/// A heading in its own column and the text beside it, wrapped at the same width.
[[nodiscard]] std::string wrappedFigure(const std::string& what, const std::string& value);

}  // namespace plateloom::stitch
