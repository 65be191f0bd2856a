// Proof that shots cover what they are to cover, and by how much neighbours overlap.
//
// Cover is proven by cells of pan and tilt, through the lens itself: a cell counts when one plate
// sees all of it, that is when its middle falls into the picture further from the edge than the
// cell can reach on the sensor. A cell that no plate sees wholly is quartered, down to a 2000th of
// the plate; the first that is still open is named. So a hole smaller than the steps of a raster
// can't hide between them.
#pragma once

#include "stitch/plan/plan.h"

namespace plateloom::stitch {

[[nodiscard]] PlanProof proveShots(const PlanWish& wish, const std::vector<PlannedShot>& shots);

}  // namespace plateloom::stitch
