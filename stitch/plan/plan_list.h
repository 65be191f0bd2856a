// A plan in people's words: the shot list to write and print.
#pragma once

#include <string>

#include "io/shot_list.h"
#include "stitch/plan/plan.h"
#include "stitch/plan/plan_figures.h"

namespace plateloom::stitch {

/// "plate.####.exr" and 12 to "plate.0012.exr"; without # the number goes before the extension.
[[nodiscard]] std::string fileNameOf(const std::string& pattern, int number);

/// Plates are numbered from `first_number` in the order of the plan.
[[nodiscard]] io::ShotList shotListOf(const Plan& plan, const PlanWish& wish,
                                      const PlanTerms& terms, const std::string& pattern,
                                      int first_number);

}  // namespace plateloom::stitch
