// From pairs to the whole: each pair may offer several rotations, of which at most one is true.
// Chosen are those that agree with each other round every loop; wrong ones do not, however good
// they look alone.
#pragma once

#include <optional>
#include <vector>

#include "stitch/tie_points.h"

namespace plateloom::stitch {

struct RotationGraph {
    std::vector<std::optional<Matrix3d>> worldFromCamera;  ///< nullopt: not in the largest group
    std::vector<int> group;  ///< connected group of each plate, 0 the largest; -1 ties to nothing
    std::vector<PairRotation> kept;  ///< pairs that agree with the whole, all groups
    int refused = 0;                 ///< hypotheses that did not
};

/// `poses` (where given) are weak evidence, to `pose_sigma_deg`; they decide between otherwise
/// equal choices and orient the whole. `tolerance_deg` is the loop error that two true neighbours
/// may have.
[[nodiscard]] RotationGraph chooseRotations(int plates, const std::vector<PairRotation>& hypotheses,
                                            const std::vector<std::optional<Matrix3d>>& poses,
                                            double pose_sigma_deg, double tolerance_deg);

}  // namespace plateloom::stitch
