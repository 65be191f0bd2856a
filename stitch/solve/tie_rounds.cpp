#include "stitch/solve/tie_rounds.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "calib/angle.h"
#include "calib/median.h"
#include "stitch/ties/overlap.h"
#include "stitch/ties/pairs.h"
#include "stitch/ties/refine_ties.h"

namespace plateloom::stitch {

namespace {

// Less overlap than this is a sliver that holds hardly a patch.
constexpr double kLeastShare = 0.01;

// A lens of unknown make changes its angle by some tenths of a per cent with focus (common
// practice).
constexpr double kBreathingSigma = 0.003;

// The sigma of one axis from the lengths of two-dimensional residuals: their median is 1.1774 of
// it when they are normal (Rayleigh's distribution).
double typicalAxis(const std::vector<double>& lengths) {
    return calib::median(lengths) / 1.1774;
}

std::vector<Tie> joined(const std::vector<std::vector<Tie>>& of_pairs) {
    std::vector<Tie> ties;
    for (const auto& some : of_pairs) ties.insert(ties.end(), some.begin(), some.end());
    return ties;
}

// Whether plates' own focal lengths explain more than as many unknowns explain of mere noise: the
// criterion of Schwarz (Estimating the dimension of a model, Annals of Statistics 1978). Where the
// focus was locked, giving each plate one of its own lets them trade it for the optical axis.
bool breathingTells(const std::vector<Tie>& ties, const BundleResult& with,
                    const BundleResult& without, size_t plates) {
    constexpr double kMost = 9;  // a tie counts as far as three sigmas
    double sum_with = 0, sum_without = 0;
    size_t count = 0;
    for (size_t t = 0; t < ties.size(); ++t) {
        if (!with.inlier[t]) continue;
        const double weight = 1 / (ties[t].sigma_px * ties[t].sigma_px);
        const auto share = [&](double off_px) { return std::min(kMost, weight * off_px * off_px); };
        sum_with += share(with.residual_px[t]);
        sum_without += share(without.residual_px[t]);
        count += 2;
    }
    const double unit = sum_with / std::max(1.0, double(count));
    return sum_without - sum_with > unit * double(plates) * std::log(double(count) + 1);
}

BundleResult adjust(Cameras& cameras, const std::vector<Tie>& ties,
                    const BundleSettings& settings) {
    BundleResult result =
        bundleAdjust(cameras.plates, ties, cameras.worldFromCamera, cameras.correction, settings);
    if (result.usable) {
        cameras.worldFromCamera = result.worldFromCamera;
        cameras.correction = result.correction;
        cameras.breathing = result.breathing;
    }
    return result;
}

// A pair most of whose ties are refused contradicts the rest: what is left of it agrees by chance.
std::vector<char> agreeingPairs(const std::vector<Tie>& ties, const std::vector<char>& inlier) {
    constexpr double kLeastAgreeing = 0.4;
    struct Count {
        int all = 0, in = 0;
    };
    std::map<std::pair<int, int>, Count> count;
    for (size_t t = 0; t < ties.size(); ++t) {
        Count& c = count[{ties[t].a, ties[t].b}];
        ++c.all;
        c.in += inlier[t];
    }
    std::vector<char> keep(ties.size());
    for (size_t t = 0; t < ties.size(); ++t) {
        const Count& c = count[{ties[t].a, ties[t].b}];
        keep[t] = c.in >= kLeastAgreeing * c.all;
    }
    return keep;
}

// Ties that an earlier solve registered from nearly the same prediction, or null.
const std::vector<Tie>* knownTies(const SolveMemory* memory, const SolveMemory::Pair& pair,
                                  const Matrix3d& bFromA, double focal_px) {
    constexpr double kSame_px = 2;
    if (!memory) return nullptr;
    const auto known = memory->registered.find(pair);
    if (known == memory->registered.end()) return nullptr;
    const double off_deg = calib::angleBetween_deg(known->second.bFromA, bFromA);
    return off_deg * calib::kRadPerDeg * focal_px < kSame_px ? &known->second.ties : nullptr;
}

std::vector<Tie> chosen(const std::vector<Tie>& ties, const std::vector<char>& keep) {
    std::vector<Tie> out;
    for (size_t t = 0; t < ties.size(); ++t)
        if (keep[t]) out.push_back(ties[t]);
    return out;
}

}  // namespace

std::vector<Tie> thinned(const std::vector<Tie>& ties, int most) {
    std::vector<Tie> out;
    for (size_t first = 0; first < ties.size();) {
        size_t end = first;
        while (end < ties.size() && ties[end].a == ties[first].a && ties[end].b == ties[first].b)
            ++end;
        const size_t all = end - first, kept = std::min(all, size_t(most));
        for (size_t i = 0; i < kept; ++i) out.push_back(ties[first + i * all / kept]);
        first = end;
    }
    return out;
}

std::vector<Tie> guidedTies(const Cameras& cameras, const std::vector<PlateFeatures>& features,
                            double radius_px) {
    const auto lenses = lensMaps(cameras);
    const auto pairs = overlappingPairs(cameras, lenses, kLeastShare);
    std::vector<std::vector<Tie>> found(pairs.size());
    tbb::parallel_for(size_t(0), pairs.size(), [&](size_t i) {
        const auto [a, b] = pairs[i];
        found[i] = guidedMatches({a, features[a], lenses[a]}, {b, features[b], lenses[b]},
                                 cameras.bFromA(a, b), radius_px);
    });
    return joined(found);
}

std::vector<Tie> registeredTies(const Cameras& cameras, LightStore& lights, double search_px,
                                StageClock& clock, SolveMemory* memory) {
    const auto lenses = lensMaps(cameras);
    const auto pairs = overlappingPairs(cameras, lenses, kLeastShare);
    RefineSettings settings;
    settings.search_px = search_px;
    std::vector<Tie> ties;
    // Pair after pair, so that neighbours in the list find their pictures still kept; within a pair
    // the patches are registered in parallel.
    for (size_t i = 0; i < pairs.size(); ++i) {
        const auto [a, b] = pairs[i];
        clock.tell(double(i) / double(pairs.size()));
        const Matrix3d bFromA = cameras.bFromA(a, b);
        if (const auto* known = knownTies(memory, pairs[i], bFromA, lenses[a].focal_px())) {
            ties.insert(ties.end(), known->begin(), known->end());
            continue;
        }
        const auto light_a = lights.get(a), light_b = lights.get(b);
        const auto found = refineTies(a, b, *light_a, *light_b,
                                      transferAToB(lenses[a], lenses[b], bFromA), settings);
        ties.insert(ties.end(), found.begin(), found.end());
        if (memory) memory->registered[pairs[i]] = {bFromA, found};
        clock.add(double(lenses[a].sensor().width_px) * lenses[a].sensor().height_px *
                  overlapShare(lenses[a], lenses[b], bFromA));
    }
    return ties;
}

TieRound adjustRound(Cameras& cameras, std::vector<Tie> ties, const RoundSettings& settings) {
    constexpr double kOutlierSigmas = 5;
    TieRound round;
    BundleSettings bundle;
    bundle.radial_terms = settings.radial_terms;
    bundle.solve_axis = settings.solve_axis;
    bundle.breathing_sigma = settings.solve_axis ? kBreathingSigma : 0;
    bundle.refocus = settings.refocus;
    bundle.solve_table_geometry = settings.last;
    bundle.loss_px = settings.loss_px;
    bundle.outlier_px = 0;
    bundle.least_gain = 1e-5;
    BundleResult first = adjust(cameras, ties, bundle);
    if (!first.usable) return round;

    const double typical = typicalAxis(first.residual_px);
    std::vector<double> claims;
    for (const auto& tie : ties) claims.push_back(tie.sigma_px);
    const double claimed = calib::median(claims);
    const double beyond = std::sqrt(std::max(0.0, typical * typical - claimed * claimed));
    for (auto& tie : ties) tie.sigma_px = std::hypot(tie.sigma_px, beyond);

    bundle.loss_px = std::max(0.5 * settings.least_px, 2 * typical);
    bundle.outlier_px = std::max(settings.least_px, kOutlierSigmas * typical);
    BundleResult second = adjust(cameras, ties, bundle);
    const auto agrees = agreeingPairs(ties, second.inlier);
    for (size_t t = 0; t < ties.size(); ++t)
        if (!agrees[t]) round.refused.push_back(ties[t]);
    ties = chosen(ties, agrees);
    bundle.covariance = settings.last;
    bundle.least_gain = settings.last ? 1e-10 : 1e-6;
    if (settings.last && (bundle.breathing_sigma > 0 || bundle.refocus)) {
        BundleSettings trial = bundle;
        trial.covariance = false;
        trial.outlier_px = 0;
        Cameras breathing = cameras, still = cameras;
        const BundleResult with = adjust(breathing, ties, trial);
        trial.breathing_sigma = 0;
        trial.refocus = false;
        still.breathing.assign(still.breathing.size(), 1);
        const BundleResult without = adjust(still, ties, trial);
        if (with.usable && without.usable &&
            !breathingTells(ties, with, without, cameras.plates.size())) {
            bundle.breathing_sigma = 0;
            bundle.refocus = false;
            cameras = std::move(still);
        } else {
            cameras = std::move(breathing);
        }
    }
    const BundleResult last = adjust(cameras, ties, bundle);

    round.usable = last.usable;
    round.rms_px = last.rms_px;
    round.sigma_deg = last.sigma_deg;
    round.local_sigma_deg = last.local_sigma_deg;
    for (size_t t = 0; t < ties.size(); ++t) {
        if (!last.inlier[t]) {
            round.refused.push_back(ties[t]);
            continue;
        }
        round.ties.push_back(ties[t]);
        round.residual_px.push_back(last.residual_px[t]);
    }
    round.typical_px = typicalAxis(round.residual_px);
    return round;
}

}  // namespace plateloom::stitch
