// The residual of a tie with its derivatives written out, for the solver: the same value as
// `TieResidual` gives (tests hold the two together) at about a sixth of the time that derivatives
// carried along number by number take. A bundle adjustment evaluates some ten thousand ties some
// hundred times.
#pragma once

#include <ceres/sized_cost_function.h>

#include "stitch/solve/tie_residual.h"

namespace plateloom::stitch {

/// Parameter blocks: rotation of a and of b.
[[nodiscard]] ceres::CostFunction* tieWithLensFixed(const TieResidual& tie);
/// Rotations, the lens that both plates share, breathing of a and of b.
[[nodiscard]] ceres::CostFunction* tieWithOneLens(const TieResidual& tie);
/// Rotations, the lenses of a and of b, breathing of a and of b.
[[nodiscard]] ceres::CostFunction* tieWithTwoLenses(const TieResidual& tie);

}  // namespace plateloom::stitch
