#include "stitch/solve/place_plates.h"

#include <algorithm>
#include <cmath>
#include <iterator>
#include <set>

#include "calib/angle.h"
#include "stitch/solve/tie_rotation.h"
#include "stitch/solve/tie_rounds.h"
#include "stitch/ties/overlap.h"

namespace plateloom::stitch {

namespace {

using calib::kDegPerRad;

// Neighbours that a plate of three rows has all round.
constexpr int kPairsPerPlate = 8;
// More tries for one left-out plate, when there are hundreds to try it with.
constexpr size_t kMostRetries = 40;

double poseSigma_deg(const Cameras& cameras) {
    double sigma_deg = 0;
    for (const auto& plate : cameras.plates)
        if (plate.pose) sigma_deg = std::max(sigma_deg, plate.pose_sigma_deg);
    return sigma_deg > 0 ? sigma_deg : 1.0;
}

// Errors of pair rotations are a share of the matches' own tolerance; roll is the worst of them.
// Focal lengths that are not yet known scale every angle between neighbours.
double loopTolerance_deg(const Cameras& cameras, double match_share) {
    double worst_deg = 0;
    for (int p = 0; p < cameras.size(); ++p) {
        const calib::LensMap lens(cameras.lens(p), cameras.plates[p].sensor);
        worst_deg = std::max(worst_deg, kDegPerRad * match_share *
                                            matchTolerance_px(cameras, p, p) / lens.focal_px());
    }
    return std::clamp(3 * worst_deg, 0.4, 4.0);
}

void choose(Cameras& cameras, const std::vector<PlateFeatures>& features, FirstLook& look,
            double match_share) {
    look.graph =
        chooseRotations(cameras.size(), look.hypotheses, posesOf(cameras), poseSigma_deg(cameras),
                        loopTolerance_deg(cameras, match_share),
                        expectedMatches(features, lensMaps(cameras), look.tried, look.hypotheses));
    cameras.worldFromCamera = look.graph.inOwnGroup;
    cameras.part = look.graph.group;
}

void adjustByMatches(Cameras& cameras, const FirstLook& look, double match_share) {
    std::vector<Tie> ties;
    double tolerance_px = 0;
    for (const auto& pair : look.graph.kept) {
        const auto some = thinned(pair.ties, kRoughTies);
        ties.insert(ties.end(), some.begin(), some.end());
        tolerance_px = std::max(tolerance_px, matchTolerance_px(cameras, pair.a, pair.b));
    }
    if (ties.empty()) return;
    RoundSettings settings;
    settings.radial_terms = 1;
    settings.loss_px = match_share * tolerance_px;
    settings.least_px = match_share * tolerance_px;
    (void)adjustRound(cameras, std::move(ties), settings);
}

// With better lenses each hypothesis stands nearer to what it means.
void turnHypotheses(const Cameras& cameras, FirstLook& look, double match_share) {
    const auto lenses = lensMaps(cameras);
    for (auto& h : look.hypotheses)
        h = turnedAgain(h, lenses[h.a], lenses[h.b],
                        match_share * matchTolerance_px(cameras, h.a, h.b));
}

// Pairs of a plate that has no place in the largest group with any other plate: the quick look may
// have missed its neighbours. Pairs that were tried are worth it again only through better lenses.
PlatePairs retries(const FirstLook& look, bool lenses_changed) {
    const std::set<std::pair<int, int>> tried(look.tried.begin(), look.tried.end());
    PlatePairs pairs;
    const int plates = int(look.graph.group.size());
    for (int p = 0; p < plates; ++p) {
        if (look.graph.group[p] == 0) continue;
        size_t own = 0;
        for (int step = 1; step < plates && own < kMostRetries; ++step) {
            const int other = (p + step) % plates;
            const std::pair pair(std::min(p, other), std::max(p, other));
            if (look.graph.group[other] != 0 && other < p) continue;
            if (!lenses_changed && tried.count(pair)) continue;
            pairs.push_back(pair);
            ++own;
        }
    }
    return pairs;
}

// The new hypotheses of pairs that were tried again take the old ones' place.
void replaceHypotheses(FirstLook& look, const PlatePairs& again, std::vector<PairRotation> found) {
    const std::set<std::pair<int, int>> renewed(again.begin(), again.end());
    std::vector<PairRotation> kept;
    for (auto& h : look.hypotheses)
        if (!renewed.count({h.a, h.b})) kept.push_back(std::move(h));
    kept.insert(kept.end(), std::make_move_iterator(found.begin()),
                std::make_move_iterator(found.end()));
    look.hypotheses = std::move(kept);
    look.tried.insert(look.tried.end(), again.begin(), again.end());
}

}  // namespace

FirstLook placePlates(Cameras& cameras, const std::vector<PlateFeatures>& features,
                      SolveMemory* memory, StageClock& clock) {
    FirstLook look;
    look.tried = candidatePairs(cameras.plates, features, kPairsPerPlate);
    searchFocalLengths(cameras, features, look.tried);
    look.hypotheses = tryPairs(cameras, features, look.tried, 1, memory, clock);

    clock.begin("solve");
    choose(cameras, features, look, 1);
    adjustByMatches(cameras, look, 1);
    double share = 1;
    if (!allLensesKnown(cameras)) {
        // The first lens error is gone: a full turn closes now, and wrong pairs stand out.
        share = 0.5;
        turnHypotheses(cameras, look, share);
        choose(cameras, features, look, share);
        adjustByMatches(cameras, look, share);
    }

    const PlatePairs again = retries(look, !allLensesKnown(cameras));
    if (again.empty()) return look;
    clock.begin("match");
    auto found = tryPairs(cameras, features, again, share, memory, clock);
    clock.begin("solve");
    if (found.empty()) return look;
    replaceHypotheses(look, again, std::move(found));
    choose(cameras, features, look, share);
    adjustByMatches(cameras, look, share);
    return look;
}

}  // namespace plateloom::stitch
