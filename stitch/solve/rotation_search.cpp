#include "stitch/solve/rotation_search.h"

#include <algorithm>
#include <cassert>
#include <cmath>

#include "calib/angle.h"
#include "calib/pose.h"
#include "stitch/solve/rotation_averaging.h"
#include "stitch/solve/rotation_ring.h"

namespace plateloom::stitch {

namespace {

using calib::kRadPerDeg;

// What is missing counts for less than what is seen: haze, parallax and moving things take matches
// away; nothing brings them.
constexpr double kMissingShare = 0.35;
// Fewer may be missing by chance.
constexpr double kLeastMissing = 8;

// Clusters that move together: a column or two of plates, never the larger half.
constexpr int kLargestCluster = 40;
// Plates that may follow without gain before a cluster is given up.
constexpr size_t kPatience = 8;
constexpr size_t kStarts = 8;
constexpr int kPasses = 30;

}  // namespace

double evidenceWeight(double inliers, double in_overlap) {
    const double agree = std::log(0.6 / 0.1), differ = std::log(0.4 / 0.9);
    const double others = std::max(0.0, in_overlap - inliers);
    return std::sqrt(std::max(1.0, agree * inliers + differ * others));
}

RotationSearch::RotationSearch(int plates, std::vector<WeighedHypothesis> hypotheses,
                               double tolerance_deg, ExpectedMatches expected)
    : plates_(plates),
      hypotheses_(std::move(hypotheses)),
      neighbours_(plates),
      pair_index_(size_t(plates) * plates, -1),
      tolerance_rad_(tolerance_deg * kRadPerDeg),
      expected_(std::move(expected)) {
    for (int h = 0; h < int(hypotheses_.size()); ++h) {
        const auto& hypothesis = hypotheses_[h];
        assert(hypothesis.a >= 0 && hypothesis.b < plates && hypothesis.a < hypothesis.b);
        if (pairs_.empty() || pairs_.back().a != hypothesis.a || pairs_.back().b != hypothesis.b) {
            const int index = int(pairs_.size());
            pairs_.push_back({hypothesis.a, hypothesis.b, h, h + 1});
            pair_index_[size_t(hypothesis.a) * plates + hypothesis.b] = index;
            pair_index_[size_t(hypothesis.b) * plates + hypothesis.a] = index;
            neighbours_[hypothesis.a].push_back(hypothesis.b);
            neighbours_[hypothesis.b].push_back(hypothesis.a);
        }
        pairs_.back().last = h + 1;
    }
}

const RotationSearch::Pair* RotationSearch::pairOf(int i, int j) const {
    const int index = pair_index_[size_t(i) * plates_ + j];
    return index < 0 ? nullptr : &pairs_[index];
}

double RotationSearch::agreementOf(const Matrix3d& bFromA, const Matrix3d& wanted) const {
    // |A - B|_F² = 8 sin²(angle / 2), twice the angle squared for all that is near enough to count.
    const double angle2 = 0.5 * (bFromA - wanted).squaredNorm();
    return std::max(0.0, 1.0 - angle2 / (tolerance_rad_ * tolerance_rad_));
}

double RotationSearch::agreement(const WeighedHypothesis& h, const Rotations& rotations) const {
    if (!rotations[h.a] || !rotations[h.b]) return 0;
    return agreementOf(rotations[h.b]->transpose() * *rotations[h.a], h.bFromA);
}

double RotationSearch::score(int i, int j, const Matrix3d& worldFromI, const Matrix3d& worldFromJ,
                             bool with_missing) const {
    const int a = std::min(i, j), b = std::max(i, j);
    const Matrix3d bFromA = a == i ? Matrix3d(worldFromJ.transpose() * worldFromI)
                                   : Matrix3d(worldFromI.transpose() * worldFromJ);
    double evidence = 0, seen = 0;
    if (const Pair* pair = pairOf(a, b)) {
        for (int h = pair->first; h < pair->last; ++h) {
            const double share = agreementOf(bFromA, hypotheses_[h].bFromA);
            evidence = std::max(evidence, share * hypotheses_[h].weight);
            seen = std::max(seen, share * hypotheses_[h].inliers);
        }
    }
    if (!with_missing || !expected_) return evidence;
    const double missing = expected_(a, b, bFromA) - seen;
    if (missing < kLeastMissing) return evidence;
    return evidence - kMissingShare * evidenceWeight(missing, missing);
}

double RotationSearch::scoreOf(int plate, const Matrix3d& worldFromPlate,
                               const Rotations& rotations) const {
    double sum = 0;
    if (!expected_) {
        for (const int other : neighbours_[plate])
            if (rotations[other])
                sum += score(plate, other, worldFromPlate, *rotations[other], false);
        return sum;
    }
    for (int other = 0; other < plates_; ++other)
        if (other != plate && rotations[other])
            sum += score(plate, other, worldFromPlate, *rotations[other], true);
    return sum;
}

double RotationSearch::total(const Rotations& rotations) const {
    double sum = 0;
    for (int i = 0; i < plates_; ++i)
        if (rotations[i]) sum += 0.5 * scoreOf(i, *rotations[i], rotations);
    return sum;
}

std::optional<RotationSearch::Placement> RotationSearch::place(int plate,
                                                               const Rotations& rotations) const {
    std::vector<Placement> placements;
    for (const int other : neighbours_[plate]) {
        if (!rotations[other]) continue;
        const Pair& pair = *pairOf(plate, other);
        for (int h = pair.first; h < pair.last; ++h) {
            const Matrix3d& bFromA = hypotheses_[h].bFromA;
            const Matrix3d world =
                *rotations[other] * (plate == pair.b ? Matrix3d(bFromA.transpose()) : bFromA);
            placements.push_back({scoreOf(plate, world, rotations), 0, world});
        }
    }
    if (placements.empty()) return std::nullopt;
    Placement best =
        *std::max_element(placements.begin(), placements.end(),
                          [](const Placement& x, const Placement& y) { return x.score < y.score; });
    double second = 0;
    for (const auto& placement : placements)
        if (agreementOf(placement.worldFromCamera, best.worldFromCamera) == 0)
            second = std::max(second, placement.score);
    best.margin = best.score - second;
    return best;
}

double RotationSearch::support(int index) const {
    // Triangles: what a third plate says about the pair, by way of its best two hypotheses.
    const auto& h = hypotheses_[index];
    double sum = 0;
    for (const int third : neighbours_[h.a]) {
        if (third == h.b || !pairOf(third, h.b)) continue;
        const Pair &first = *pairOf(h.a, third), &second = *pairOf(third, h.b);
        double best = 0;
        for (int f = first.first; f < first.last; ++f) {
            const Matrix3d cFromA = h.a == first.a ? hypotheses_[f].bFromA
                                                   : Matrix3d(hypotheses_[f].bFromA.transpose());
            for (int s = second.first; s < second.last; ++s) {
                const Matrix3d bFromC = third == second.a
                                            ? hypotheses_[s].bFromA
                                            : Matrix3d(hypotheses_[s].bFromA.transpose());
                best = std::max(best, agreementOf(bFromC * cFromA, h.bFromA) *
                                          std::min(hypotheses_[f].weight, hypotheses_[s].weight));
            }
        }
        sum += best;
    }
    return sum;
}

std::vector<int> RotationSearch::strongPairs(const std::vector<char>& among) const {
    std::vector<std::pair<double, int>> ranked;
    for (int h = 0; h < int(hypotheses_.size()); ++h)
        if (among[hypotheses_[h].a] && among[hypotheses_[h].b])
            ranked.emplace_back(-(hypotheses_[h].weight + support(h)), h);
    std::sort(ranked.begin(), ranked.end());

    // Each start at another place first, so that one mistaken corner does not spoil them all; then
    // the next best ones, which for a few plates are other explanations of the same pairs.
    const size_t starts = plates_ > 120 ? 2 : kStarts;
    std::vector<int> chosen, passed_over;
    std::vector<char> used(plates_, 0);
    for (const auto& [rank, h] : ranked) {
        if (used[hypotheses_[h].a] || used[hypotheses_[h].b]) {
            passed_over.push_back(h);
            continue;
        }
        used[hypotheses_[h].a] = used[hypotheses_[h].b] = 1;
        chosen.push_back(h);
        if (chosen.size() == starts) break;
    }
    for (size_t i = 0; i < passed_over.size() && chosen.size() < starts; ++i)
        chosen.push_back(passed_over[i]);
    return chosen;
}

void RotationSearch::settle(Rotations& rotations) const {
    std::vector<WeightedRotation> agreeing;
    for (const auto& h : hypotheses_)
        if (agreement(h, rotations) > 0) agreeing.push_back({h.a, h.b, h.bFromA, h.weight});
    averageRotations(rotations, agreeing, 0.5 * tolerance_rad_ / kRadPerDeg);
}

RotationSearch::Rotations RotationSearch::startFromPair(int hypothesis) const {
    Rotations rotations(plates_);
    const auto& h = hypotheses_[hypothesis];
    rotations[h.a] = Matrix3d::Identity();
    rotations[h.b] = h.bFromA.transpose();
    return rotations;
}

// Rings worth closing: from a few plates, the longest way round that no shorter way cuts off. A
// full turn is found so; short rings need no help.
std::vector<std::vector<int>> RotationSearch::rings(const std::vector<char>& among) const {
    constexpr int kShortest = 5;
    constexpr size_t kRings = 4;
    std::vector<std::vector<int>> found;
    for (int start = 0; start < plates_ && found.size() < kRings; start += 1 + plates_ / 5) {
        std::vector<int> before(plates_, -1), steps(plates_, -1), queue{start};
        steps[start] = 0;
        if (!among[start]) continue;
        for (size_t i = 0; i < queue.size(); ++i)
            for (const int other : neighbours_[queue[i]])
                if (among[other] && steps[other] < 0) {
                    steps[other] = steps[queue[i]] + 1;
                    before[other] = queue[i];
                    queue.push_back(other);
                }
        std::vector<int> longest;
        for (const auto& pair : pairs_) {
            if (steps[pair.a] < 0 || steps[pair.b] < 0) continue;
            if (before[pair.a] == pair.b || before[pair.b] == pair.a) continue;
            std::vector<int> up{pair.a}, down{pair.b};
            while (up.back() != down.back())
                steps[up.back()] >= steps[down.back()] ? up.push_back(before[up.back()])
                                                       : down.push_back(before[down.back()]);
            up.insert(up.end(), down.rbegin() + 1, down.rend());
            if (up.size() > longest.size()) longest = up;
        }
        if (int(longest.size()) >= kShortest) found.push_back(longest);
    }
    return found;
}

RotationSearch::Rotations RotationSearch::startFromRing(const std::vector<int>& ring) const {
    std::vector<std::vector<RingStep>> steps;
    for (size_t i = 0; i < ring.size(); ++i) {
        const int here = ring[i], next = ring[(i + 1) % ring.size()];
        const Pair& pair = *pairOf(here, next);
        steps.emplace_back();
        for (int h = pair.first; h < pair.last; ++h)
            steps.back().push_back({here == pair.a ? hypotheses_[h].bFromA
                                                   : Matrix3d(hypotheses_[h].bFromA.transpose()),
                                    hypotheses_[h].weight});
    }
    Rotations rotations(plates_);
    const auto choice = closeRing(steps, 0.5 * tolerance_rad_);
    if (choice.empty()) return rotations;
    std::vector<WeightedRotation> pairs;
    Matrix3d worldFromThis = Matrix3d::Identity();
    for (size_t i = 0; i < ring.size(); ++i) {
        const auto& step = steps[i][choice[i]];
        rotations[ring[i]] = worldFromThis;
        worldFromThis = worldFromThis * step.nextFromThis.transpose();
        pairs.push_back({ring[i], ring[(i + 1) % ring.size()], step.nextFromThis, step.weight});
    }
    averageRotations(rotations, pairs, tolerance_rad_ / kRadPerDeg);
    return rotations;
}

void RotationSearch::grow(Rotations& rotations, const std::vector<char>& among) const {
    std::vector<std::optional<Placement>> waiting(plates_);
    const auto call = [&](int plate) {
        for (const int other : neighbours_[plate])
            if (among[other] && !rotations[other]) waiting[other] = place(other, rotations);
    };
    for (int p = 0; p < plates_; ++p)
        if (rotations[p]) call(p);

    // The least ambiguous plate first. Every few plates the errors are spread, or a long chain
    // would drift beyond the tolerance before it closes.
    for (int since_settled = 0;;) {
        int next = -1;
        for (int p = 0; p < plates_; ++p)
            if (waiting[p] && waiting[p]->score > 0 &&
                (next < 0 || waiting[p]->margin > waiting[next]->margin))
                next = p;
        if (next < 0) break;
        rotations[next] = waiting[next]->worldFromCamera;
        waiting[next].reset();
        call(next);
        if (++since_settled * 4 >= plates_) {
            settle(rotations);
            since_settled = 0;
        }
    }
    settle(rotations);
}

bool RotationSearch::turnCluster(const WeighedHypothesis& h, bool turn_b,
                                 Rotations& rotations) const {
    // Kernighan and Lin 1970: start with the plate that the hypothesis calls, let the others follow
    // one by one, whichever gains most (or loses least), and keep the best stage of it.
    const int mover = turn_b ? h.b : h.a, fixed = turn_b ? h.a : h.b;
    const Matrix3d wanted = turn_b ? Matrix3d(*rotations[h.a] * h.bFromA.transpose())
                                   : Matrix3d(*rotations[h.b] * h.bFromA);
    const Matrix3d turn = wanted * rotations[mover]->transpose();

    std::vector<char> moved(plates_, 0), frontier(plates_, 0);
    std::vector<double> gain(plates_, 0);
    const auto alone = [&](int i, int j, bool missing) {  // only i turns
        return score(i, j, turn * *rotations[i], *rotations[j], missing) -
               score(i, j, *rotations[i], *rotations[j], missing);
    };
    const auto open = [&](int plate) {
        frontier[plate] = 1;
        for (const int other : neighbours_[plate])
            if (rotations[other])
                gain[plate] +=
                    moved[other] ? -alone(other, plate, false) : alone(plate, other, false);
    };
    open(mover);

    std::vector<int> order;
    double sum = 0, best = -1e300;
    size_t best_length = 0;
    for (int next = mover;
         next >= 0 && int(order.size()) < std::min(kLargestCluster, plates_ - 1);) {
        sum += gain[next];
        moved[next] = 1;
        frontier[next] = 0;
        order.push_back(next);
        if (sum > best) {
            best = sum;
            best_length = order.size();
        }
        if (order.size() >= best_length + kPatience) break;
        for (const int other : neighbours_[next]) {
            if (!rotations[other] || moved[other] || other == fixed) continue;
            if (frontier[other])
                gain[other] -= alone(next, other, false) + alone(other, next, false);
            else
                open(other);
        }
        next = -1;
        for (int p = 0; p < plates_; ++p)
            if (frontier[p] && (next < 0 || gain[p] > gain[next])) next = p;
    }

    // What would be missing is only looked at where it can decide.
    const double undecided = expected_ ? h.weight : 0;
    if (best <= -undecided + 1e-9) return false;
    order.resize(best_length);
    if (expected_) {
        std::fill(moved.begin(), moved.end(), 0);
        for (const int p : order) moved[p] = 1;
        best = 0;
        for (const int p : order)
            for (int other = 0; other < plates_; ++other)
                if (rotations[other] && !moved[other]) best += alone(p, other, true);
        if (best <= 1e-9) return false;
    }
    for (const int p : order) rotations[p] = turn * *rotations[p];
    return true;
}

void RotationSearch::improve(Rotations& rotations) const {
    for (int pass = 0; pass < kPasses; ++pass) {
        bool any = false;
        for (const auto& h : hypotheses_) {
            if (!rotations[h.a] || !rotations[h.b] || agreement(h, rotations) > 0) continue;
            any = turnCluster(h, true, rotations) || any;
            if (agreement(h, rotations) == 0) any = turnCluster(h, false, rotations) || any;
        }
        if (!any) return;
        settle(rotations);
    }
}

RotationSearch::Rotations RotationSearch::best(const std::vector<char>& among) const {
    std::vector<Rotations> starts;
    for (const int pair : strongPairs(among)) starts.push_back(startFromPair(pair));
    for (const auto& ring : rings(among)) starts.push_back(startFromRing(ring));

    Rotations best(plates_);
    double best_score = 0;
    for (Rotations& rotations : starts) {
        grow(rotations, among);
        improve(rotations);
        grow(rotations, among);  // the plates that found no place before
        const double reached = total(rotations);
        if (reached > best_score) {
            best_score = reached;
            best = std::move(rotations);
        }
    }
    return best;
}

}  // namespace plateloom::stitch
