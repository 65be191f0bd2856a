// The choice of hypotheses along a ring of plates that comes back to where it began.
//
// Along a single row nothing but the full turn tells true pairs from repeated windows, and no chain
// of small corrections leads from a wrong ring to a right one: the ring has to be chosen as a
// whole. States (rotations) that fall together are merged, the best kept, so that the work grows
// with the number of distinct rotations and not with the number of combinations.
#pragma once

#include <vector>

#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

/// One way to go on from a plate of the ring to the next.
struct RingStep {
    Matrix3d nextFromThis = Matrix3d::Identity();
    double weight = 0;
};

/// `steps[i]` are the ways from plate i of the ring to plate i + 1, the last ones back to plate 0.
/// Returns which way to take at each place, so that the product comes back to identity within
/// `tolerance_rad` times the square root of the ring's length, and the weights are the most; empty
/// when no choice does.
[[nodiscard]] std::vector<int> closeRing(const std::vector<std::vector<RingStep>>& steps,
                                         double tolerance_rad);

}  // namespace plateloom::stitch
