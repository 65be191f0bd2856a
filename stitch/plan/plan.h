// Which pans and tilts to shoot, so that nothing of the wanted cover is missed and every plate
// overlaps its neighbours enough to tie: the fewest plates in level rows, evenly spaced, each row
// with the pans that its tilt needs (fewer toward the poles).
//
// The rows are found by a shortest path over all tilts and counts (plan_search.h); what comes out,
// rounded to what can be set on a head, is then proven through the lens itself (plan_proof.h).
// Overlap of two plates is the share of one's picture that the other sees as well, as `check`
// counts it.
//
//     const Plan plan = planShots({.lens = map, .overlap = 0.3, .tilt_from_deg = -40 ...});
//     if (plan.shots.empty()) say(plan.why_not);
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calib/lens.h"
#include "calib/pose.h"

namespace plateloom::stitch {

struct PlanWish {
    calib::LensMap lens;
    double overlap = 0.30;  ///< of each plate with its neighbours beside, above and below; 0 to 1
    double pan_from_deg = -180, pan_to_deg = 180;  ///< from < to, no more than 360 apart
    double tilt_from_deg = -40, tilt_to_deg = 40;
    bool zenith = false, nadir = false;  ///< the cover goes on to straight up, straight down
};

/// What makes the wish unusable, in a person's words, or nothing.
[[nodiscard]] std::optional<std::string> faultOf(const PlanWish& wish);

struct PlannedShot {
    int row = 0;  ///< 0 is the lowest
    calib::PanTiltRoll pose;
};

struct ShotPair {
    int a = 0, b = 0;      ///< shots, a < b
    bool same_row = true;  ///< beside each other; else above and below
    double overlap = 0;
};

struct PlanProof {
    bool covered = false;  ///< every cell of the wanted cover lies wholly in a plate
    int cells = 0;
    std::optional<calib::PanTiltRoll> open;      ///< a direction that no plate is proven to see
    std::vector<ShotPair> pairs;                 ///< all neighbours
    double least_beside = 1, least_upright = 1;  ///< the smallest overlap; 1 where there is no pair
};

struct Plan {
    std::vector<PlannedShot> shots;  ///< row by row from below, each turning to the right
    int rows = 0;
    PlanProof proof;
    std::string why_not;  ///< when there are no shots: why the wish can't be met
};

/// `wish` must be free of faults.
[[nodiscard]] Plan planShots(const PlanWish& wish);

}  // namespace plateloom::stitch
