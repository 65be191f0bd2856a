// The fewest plates in level rows: a shortest path. A node is a row (its tilt, how many pans); an
// edge leads to a row above that joins its cover and overlaps it enough; the length of a path is
// its number of plates, then its number of rows. So all row layouts over a grid of tilts are
// compared, not only those of equal steps.
#pragma once

#include <optional>
#include <vector>

#include "stitch/plan/plan.h"
#include "stitch/plan/row_shapes.h"

namespace plateloom::stitch {

struct ShotRow {
    double tilt_deg = 0;
    std::vector<double> pans_deg;  ///< falling: the operator turns to the right
};

struct PlanGuard {
    double overlap = 0.004;   ///< more than is wanted
    double cover_deg = 0.05;  ///< further than is wanted, and between rows
};

/// The step of the grid of tilts, degrees: what a head can be set to, finer for long lenses.
[[nodiscard]] double tiltStep_deg(const calib::FrameOutline& outline);

/// Rows from below. Of all layouts with as few plates the one whose tightest place has the most
/// room. Nullopt when no layout of level rows does.
[[nodiscard]] std::optional<std::vector<ShotRow>> searchRows(const PlanWish& wish,
                                                             const PlanGuard& guard);

}  // namespace plateloom::stitch
