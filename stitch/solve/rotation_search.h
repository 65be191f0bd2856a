// The search behind chooseRotations: a board of plates, the hypotheses between them, and moves that
// raise the score.
#pragma once

#include <optional>
#include <vector>

#include "stitch/solve/rotation_graph.h"

namespace plateloom::stitch {

/// One hypothesis as the search sees it.
struct WeighedHypothesis {
    int a = 0, b = 0;
    Matrix3d bFromA = Matrix3d::Identity();
    double weight = 1;   ///< what agreeing with it is worth
    double inliers = 0;  ///< matches that it explains
};

/// What a pair's matches are worth: the square root (matches of one pair are not independent) of
/// the log-odds that they are a true overlap, with the match probabilities of Brown and Lowe 2007,
/// section 3.2: 0.6 when the overlap is true, 0.1 when it is not.
[[nodiscard]] double evidenceWeight(double inliers, double in_overlap);

class RotationSearch {
public:
    /// Hypotheses of one pair must stand together.
    RotationSearch(int plates, std::vector<WeighedHypothesis> hypotheses, double tolerance_deg,
                   ExpectedMatches expected);

    using Rotations = std::vector<std::optional<Matrix3d>>;

    /// The best set of rotations for the plates in `among`, as far as they hang together; plates
    /// that would lose more than they bring are left out.
    [[nodiscard]] Rotations best(const std::vector<char>& among) const;

    /// 1 where the rotations agree fully with the hypothesis, 0 at the tolerance and beyond, or
    /// where a plate has none.
    [[nodiscard]] double agreement(const WeighedHypothesis& hypothesis,
                                   const Rotations& worldFromCamera) const;

private:
    struct Pair {
        int a, b;
        int first, last;  // its hypotheses
    };
    struct Placement {
        double score = 0, margin = 0;
        Matrix3d worldFromCamera;
    };

    [[nodiscard]] double agreementOf(const Matrix3d& bFromA, const Matrix3d& wanted) const;
    [[nodiscard]] const Pair* pairOf(int i, int j) const;
    [[nodiscard]] double score(int i, int j, const Matrix3d& worldFromI, const Matrix3d& worldFromJ,
                               bool with_missing) const;
    [[nodiscard]] double total(const Rotations& rotations) const;
    [[nodiscard]] double scoreOf(int plate, const Matrix3d& worldFromPlate,
                                 const Rotations& rotations) const;
    [[nodiscard]] std::optional<Placement> place(int plate, const Rotations& rotations) const;
    [[nodiscard]] double support(int hypothesis) const;
    [[nodiscard]] std::vector<int> strongPairs(const std::vector<char>& among) const;
    [[nodiscard]] Rotations startFromPair(int hypothesis) const;
    [[nodiscard]] std::vector<std::vector<int>> rings(const std::vector<char>& among) const;
    [[nodiscard]] Rotations startFromRing(const std::vector<int>& ring) const;
    void grow(Rotations& rotations, const std::vector<char>& among) const;
    void settle(Rotations& rotations) const;
    void improve(Rotations& rotations) const;
    bool turnCluster(const WeighedHypothesis& hypothesis, bool turn_b, Rotations& rotations) const;

    int plates_;
    std::vector<WeighedHypothesis> hypotheses_;
    std::vector<Pair> pairs_;
    std::vector<std::vector<int>> neighbours_;  // plates that share hypotheses with each plate
    std::vector<int> pair_index_;               // plates_ x plates_, -1 where there is none
    double tolerance_rad_;
    ExpectedMatches expected_;
};

}  // namespace plateloom::stitch
