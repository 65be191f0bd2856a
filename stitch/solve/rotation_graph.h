// From pairs to the whole: each pair may offer several rotations, of which at most one is true.
// Chosen are those that agree with each other round every loop; wrong ones do not, however good
// they look alone.
//
// A set of rotations is scored by the hypotheses that it agrees with, each by its own evidence,
// less what should have been seen and was not: two plates that would overlap widely, and yet
// nothing in them matches. The best set is searched for by growing from several strong pairs and
// then turning plates, and whole clusters of plates, to wherever a hypothesis calls them
// (rotation_search.h).
#pragma once

#include <optional>
#include <vector>

#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

struct RotationGraph {
    std::vector<std::optional<Matrix3d>> worldFromCamera;  ///< nullopt: not in the largest group
    /// The same for the plates of every group, each group in a frame of its own (turned to its
    /// plates' poses where it has some).
    std::vector<std::optional<Matrix3d>> inOwnGroup;
    std::vector<int> group;  ///< connected group of each plate, 0 the largest; -1 ties to nothing
    std::vector<PairRotation> kept;  ///< pairs that agree with the whole, all groups
    int refused = 0;                 ///< hypotheses that did not
};

/// `poses` (where given) are weak evidence, to `pose_sigma_deg`; they decide between otherwise
/// equal choices and orient the whole. `tolerance_deg` is the loop error that two true neighbours
/// may have.
[[nodiscard]] RotationGraph chooseRotations(int plates, const std::vector<PairRotation>& hypotheses,
                                            const std::vector<std::optional<Matrix3d>>& poses,
                                            double pose_sigma_deg, double tolerance_deg,
                                            const ExpectedMatches& expected = nullptr);

}  // namespace plateloom::stitch
