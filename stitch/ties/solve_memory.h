// What a solve found out about plates and pairs that does not change when more plates come, kept
// for the next solve. A later solve's plates must begin with the earlier one's, the same files
// through the same lenses in the same order; whoever keeps the memory sees to that.
#pragma once

#include <map>
#include <optional>
#include <utility>
#include <vector>

#include "stitch/ties/features.h"
#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

struct SolveMemory {
    using Pair = std::pair<int, int>;
    /// How a pair was looked at: with other lenses, or another tolerance, the answer may differ.
    struct Look {
        double tolerance_px = 0, focal_a_mm = 0, focal_b_mm = 0;
        [[nodiscard]] bool near(const Look& other) const;
    };
    struct Tried {
        Look look;
        std::vector<PairRotation> rotations;
    };

    struct Registered {
        Matrix3d bFromA = Matrix3d::Identity();  ///< by which they were looked for
        std::vector<Tie> ties;
    };

    std::vector<PlateFeatures> features;    ///< of the first plates
    std::map<Pair, Tried> tried;            ///< hypotheses of each pair
    std::map<Pair, Registered> registered;  ///< ties of each pair at full resolution
};

}  // namespace plateloom::stitch
