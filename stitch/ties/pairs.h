// Which plates overlap, by how much they are turned against each other, and by which matches.
#pragma once

#include <functional>
#include <utility>
#include <vector>

#include "calib/lens.h"
#include "stitch/plates/plate_set.h"
#include "stitch/ties/features.h"
#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

/// Pairs worth trying, most promising first: those whose poses overlap where there are poses, else
/// those whose features vote for each other in a quick look over all plates at once (Brown and Lowe
/// 2007, section 3: each feature's nearest neighbours in other plates). About `per_plate` a plate,
/// never all against all when there are many.
[[nodiscard]] std::vector<std::pair<int, int>> candidatePairs(
    const std::vector<Plate>& plates, const std::vector<PlateFeatures>& features, int per_plate);

/// A match that might be true, before anything is known of the cameras.
struct Putative {
    int a = 0, b = 0;      ///< features
    bool primary = false;  ///< mutual nearest neighbours, clearly nearer than the next place
    float doubt = 0;       ///< smaller is better
};
/// The matches that might be true, trusted ones first. Those that are not primary keep the true
/// match of a window alive among its look-alikes.
[[nodiscard]] std::vector<Putative> putativeMatches(const PlateFeatures& a, const PlateFeatures& b);

/// One plate of a pair. What it refers to must outlive it.
struct PairSide {
    int plate = 0;
    const PlateFeatures& features;
    const calib::LensMap& lens;
};

/// The rotations by which the pair could be explained, best first, each with its agreeing matches:
/// repeated windows give several that all look right, and only the other plates can tell. Each
/// passes `PairRotation::accepted`. `tolerance_px` is how far a match may be off (small for a known
/// lens, of the order of 1 % of the width when distortion and focal length are yet to be solved).
/// `matches` are the pair's putativeMatches.
[[nodiscard]] std::vector<PairRotation> pairRotations(const PairSide& a, const PairSide& b,
                                                      const std::vector<Putative>& matches,
                                                      double tolerance_px);
[[nodiscard]] std::vector<PairRotation> pairRotations(const PairSide& a, const PairSide& b,
                                                      double tolerance_px);

/// Matches again, now that it is known where to look: only features within `radius_px` of where the
/// rotation puts them, so that repetition no longer confuses. Empty when fewer than 6 are found.
[[nodiscard]] std::vector<Tie> guidedMatches(const PairSide& a, const PairSide& b,
                                             const Matrix3d& bFromA, double radius_px);

}  // namespace plateloom::stitch
