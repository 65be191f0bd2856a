#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <random>
#include <set>

#include "calib/pose.h"
#include "stitch/ties/descriptor_matches.h"
#include "stitch/ties/overlap_likeness.h"
#include "stitch/ties/pairs.h"

namespace plateloom::stitch {

namespace {

using Eigen::Vector3f;

// Two features of one plate nearer than this are one thing seen with two orientations or sizes.
constexpr double kSamePlace_px = 4.0;

// Rays of all putatives, in columns for the inner loop.
struct Rays {
    std::vector<float> ax, ay, az, bx, by, bz, weight;
    void add(const Vector3d& a, const Vector3d& b, float w) {
        ax.push_back(float(a.x()));
        ay.push_back(float(a.y()));
        az.push_back(float(a.z()));
        bx.push_back(float(b.x()));
        by.push_back(float(b.y()));
        bz.push_back(float(b.z()));
        weight.push_back(w);
    }
    [[nodiscard]] int size() const { return int(ax.size()); }
    [[nodiscard]] Vector3f a(int i) const { return {ax[i], ay[i], az[i]}; }
    [[nodiscard]] Vector3f b(int i) const { return {bx[i], by[i], bz[i]}; }
};

// Sum of weights of those that agree: 18 flops a match, no branch.
float support(const Rays& rays, const Matrix3d& bFromA, float tolerance) {
    const Eigen::Matrix3f R = bFromA.cast<float>();
    const float r00 = R(0, 0), r01 = R(0, 1), r02 = R(0, 2), r10 = R(1, 0), r11 = R(1, 1),
                r12 = R(1, 2), r20 = R(2, 0), r21 = R(2, 1), r22 = R(2, 2);
    const float limit = tolerance * tolerance;
    float sum = 0;
    for (int i = 0; i < rays.size(); ++i) {
        const float dx = r00 * rays.ax[i] + r01 * rays.ay[i] + r02 * rays.az[i] - rays.bx[i];
        const float dy = r10 * rays.ax[i] + r11 * rays.ay[i] + r12 * rays.az[i] - rays.by[i];
        const float dz = r20 * rays.ax[i] + r21 * rays.ay[i] + r22 * rays.az[i] - rays.bz[i];
        sum += dx * dx + dy * dy + dz * dz < limit ? rays.weight[i] : 0.0f;
    }
    return sum;
}

// The rotation that two matches give exactly where their angles agree: frames built on each pair.
Matrix3d rotationFromTwo(const Rays& rays, int i, int j) {
    const auto frame = [](const Vector3f& u, const Vector3f& v) {
        Matrix3d F;
        const Vector3d p = u.cast<double>(), q = v.cast<double>();
        F.col(0) = (p + q).normalized();
        F.col(1) = p.cross(q).normalized();
        F.col(2) = F.col(0).cross(F.col(1));
        return F;
    };
    return frame(rays.b(i), rays.b(j)) * frame(rays.a(i), rays.a(j)).transpose();
}

bool agrees(const Rays& rays, int i, const Matrix3d& bFromA, double tolerance) {
    return (bFromA * rays.a(i).cast<double>() - rays.b(i).cast<double>()).norm() < tolerance;
}

// Least squares over those that agree (Kabsch), repeated until the set stands still.
Matrix3d refined(const Rays& rays, Matrix3d bFromA, double tolerance) {
    for (int round = 0; round < 6; ++round) {
        Matrix3d sum = Matrix3d::Zero();
        for (int i = 0; i < rays.size(); ++i) {
            if (rays.weight[i] > 0 && agrees(rays, i, bFromA, tolerance)) {
                sum += rays.weight[i] * rays.b(i).cast<double>() *
                       rays.a(i).cast<double>().transpose();
            }
        }
        if (sum.isZero()) break;
        const Matrix3d next = calib::nearestRotation(sum);
        const bool still = (next - bFromA).norm() < 1e-7;
        bFromA = next;
        if (still) break;
    }
    return bFromA;
}

// Two matches on one spot tell no rotation, rad. The whole overlap of a long lens is narrower than
// what is one spot of a wide one: a tenth of the frame's shorter side.
float leastAngle(const calib::LensMap& lens) {
    constexpr double kMost = 0.02, kShare = 0.1;
    const auto& sensor = lens.sensor();
    return float(
        std::min(kMost, kShare * std::min(sensor.width_px, sensor.height_px) / lens.focal_px()));
}

// Random sample consensus over pairs of matches, the trusted ones first (the growing pool of Chum
// and Matas, PROSAC, CVPR 2005). Pairs whose angles differ are thrown away before they cost.
std::optional<Matrix3d> bestRotation(const Rays& rays, const std::vector<int>& pool,
                                     float tolerance, float least_angle, std::mt19937& random) {
    constexpr int kMostDraws = 4000, kLeastDraws = 300;
    if (pool.size() < 4) return std::nullopt;
    float total = 0;
    for (const int i : pool) total += rays.weight[i];
    std::optional<Matrix3d> best;
    float best_support = 0;
    int needed = kMostDraws;
    for (int draw = 0; draw < needed; ++draw) {
        const size_t reach = std::min(pool.size(), size_t(16) + pool.size() * size_t(draw) / 1000);
        const int i = pool[random() % reach], j = pool[random() % reach];
        if (i == j) continue;
        const float chord_a = (rays.a(i) - rays.a(j)).norm();
        const float chord_b = (rays.b(i) - rays.b(j)).norm();
        if (std::min(chord_a, chord_b) < std::max(least_angle, 2 * tolerance) ||
            std::abs(chord_a - chord_b) > 1.5f * tolerance)
            continue;
        const Matrix3d bFromA = rotationFromTwo(rays, i, j);
        const float found = support(rays, bFromA, tolerance);
        if (found <= best_support) continue;
        best_support = found;
        best = bFromA;
        const double share = std::min(0.9, double(found) / total);
        needed = std::clamp(int(std::log(1e-4) / std::log(1.0 - share * share)), kLeastDraws,
                            kMostDraws);
    }
    return best;
}

using Place = std::pair<int, int>;
Place placeOf(const Vector2d& px) {
    return {int(px.x() / kSamePlace_px), int(px.y() / kSamePlace_px)};
}

// One pair while its explanations are taken off one after the other.
struct PairSearch {
    const PairSide &a, &b;
    std::vector<Putative> putative;
    Rays rays;  // weight 0: already explained
};

// Takes out the matches that agree and counts them, and the trusted ones that fall into the overlap
// and do not; several matches at one place count once.
PairRotation explained(PairSearch& search, const Matrix3d& bFromA, double tolerance) {
    constexpr double kSigmaPerSize = 0.08, kLeastSigma_px = 0.3;
    PairRotation out{search.a.plate, search.b.plate, bFromA, 0, 0, {}};
    std::set<Place> seen;
    const auto px_a = [&](int i) { return search.a.features.recorded_px[search.putative[i].a]; };
    for (int i = 0; i < search.rays.size(); ++i) {
        if (!(search.rays.weight[i] > 0) || !agrees(search.rays, i, bFromA, tolerance)) continue;
        search.rays.weight[i] = 0;
        if (!seen.insert(placeOf(px_a(i))).second) continue;
        const Putative& match = search.putative[i];
        const double size =
            std::max(search.a.features.size_px[match.a], search.b.features.size_px[match.b]);
        out.ties.push_back({search.a.plate, search.b.plate, px_a(i),
                            search.b.features.recorded_px[match.b],
                            std::max(kLeastSigma_px, kSigmaPerSize * size)});
    }
    out.inliers = out.in_overlap = int(out.ties.size());
    for (int i = 0; i < search.rays.size(); ++i) {
        if (!(search.rays.weight[i] > 0) || !search.putative[i].primary) continue;
        const auto px = search.b.lens.recordedFromRay(bFromA * search.rays.a(i).cast<double>());
        if (px && search.b.lens.inPicture(*px) && seen.insert(placeOf(px_a(i))).second)
            ++out.in_overlap;
    }
    return out;
}

std::vector<int> remaining(const Rays& rays) {
    std::vector<int> pool;
    for (int i = 0; i < rays.size(); ++i) {
        if (rays.weight[i] > 0) pool.push_back(i);
    }
    return pool;
}

struct Ranked {
    PairRotation hypothesis;
    double likeness = 0;
};

// What a plain overlap counts for when it is held against others.
constexpr double kUnknownLikeness = 0.5;

// Beyond this share of the width the tolerance stands for a lens that is not known yet.
constexpr double kRoughShare = 0.005;

// Hypotheses under which the plates look alike, the best first. Measured on rendered night plates
// full of repeated windows: true rotations come to 0.45 to 0.95 (with a focal length 15 % wrong
// still to 0.4), those that are a window or more off to 0.0 to 0.4, and always to less than half of
// the true one's.
std::vector<PairRotation> likely(std::vector<Ranked> ranked, bool rough) {
    constexpr double kLeast = 0.3, kLeastRough = 0.2, kShareOfBest = 0.55;
    std::stable_sort(ranked.begin(), ranked.end(), [](const Ranked& l, const Ranked& r) {
        return l.likeness * l.hypothesis.inliers > r.likeness * r.hypothesis.inliers;
    });
    double best = 0;
    for (const Ranked& one : ranked) best = std::max(best, one.likeness);
    const double least = std::max(rough ? kLeastRough : kLeast, kShareOfBest * best);
    std::vector<PairRotation> out;
    for (Ranked& one : ranked) {
        if (one.likeness >= least) out.push_back(std::move(one.hypothesis));
    }
    return out;
}

}  // namespace

std::vector<Putative> putativeMatches(const PlateFeatures& a, const PlateFeatures& b) {
    constexpr double kRatio = 0.85, kPrimaryDistance2 = 0.5;
    constexpr double kSimilar = 1.25, kSecondaryDistance2 = 0.25;
    constexpr double kSame2 = 0.01;  // nearer than this is no nearer: noise and rounding
    constexpr size_t kMostSecondaries = 1500;
    const DescriptorMatches matches = matchDescriptors(a.descriptors, b.descriptors);
    std::vector<Putative> primary, secondary;
    for (int i = 0; i < int(matches.b_of_a.size()); ++i) {
        const auto& near = matches.b_of_a[i];
        if (near[0].row < 0) continue;
        const double d2 = squaredDistance(near[0].dot);
        double next_d2 = 2.0;
        for (int k = 1; k < kNeighbours && near[k].row >= 0; ++k) {
            const Vector2d apart = b.recorded_px[near[k].row] - b.recorded_px[near[0].row];
            if (apart.norm() < kSamePlace_px) continue;
            next_d2 = squaredDistance(near[k].dot);
            break;
        }
        const bool mutual = matches.a_of_b[near[0].row].row == i;
        const double ratio = std::sqrt(d2 / std::max(1e-9, next_d2));
        if (mutual && ratio < kRatio && d2 < kPrimaryDistance2) {
            primary.push_back({i, near[0].row, true, float(ratio)});
            continue;
        }
        for (int k = 0; k < kNeighbours - 1 && near[k].row >= 0; ++k) {
            const double candidate_d2 = squaredDistance(near[k].dot);
            if (candidate_d2 > kSecondaryDistance2 ||
                candidate_d2 > kSimilar * kSimilar * std::max(kSame2, d2))
                break;
            secondary.push_back({i, near[k].row, false, float(1 + std::sqrt(candidate_d2))});
        }
    }
    const auto better = [](const Putative& l, const Putative& r) { return l.doubt < r.doubt; };
    std::stable_sort(primary.begin(), primary.end(), better);
    std::stable_sort(secondary.begin(), secondary.end(), better);
    secondary.resize(std::min(secondary.size(), kMostSecondaries));
    primary.insert(primary.end(), secondary.begin(), secondary.end());
    return primary;
}

std::vector<PairRotation> pairRotations(const PairSide& a, const PairSide& b, double tolerance_px) {
    return pairRotations(a, b, putativeMatches(a.features, b.features), tolerance_px);
}

std::vector<PairRotation> pairRotations(const PairSide& a, const PairSide& b,
                                        const std::vector<Putative>& matches, double tolerance_px) {
    constexpr int kMostHypotheses = 4;
    constexpr float kSecondaryWeight = 0.4f;
    PairSearch search{a, b, {}, {}};
    for (const Putative& match : matches) {
        const auto ray_a = a.lens.rayFromRecorded(a.features.recorded_px[match.a]);
        const auto ray_b = b.lens.rayFromRecorded(b.features.recorded_px[match.b]);
        if (!ray_a || !ray_b) continue;
        search.putative.push_back(match);
        search.rays.add(*ray_a, *ray_b, match.primary ? 1.0f : kSecondaryWeight);
    }
    const double tolerance = tolerance_px / std::min(a.lens.focal_px(), b.lens.focal_px());
    std::mt19937 random(12345u + unsigned(a.plate) * 7919u + unsigned(b.plate));
    std::vector<Ranked> ranked;
    for (int round = 0; round < kMostHypotheses; ++round) {
        const auto found = bestRotation(search.rays, remaining(search.rays), float(tolerance),
                                        std::min(leastAngle(a.lens), leastAngle(b.lens)), random);
        if (!found) break;
        const Matrix3d bFromA = refined(search.rays, *found, tolerance);
        PairRotation hypothesis = explained(search, bFromA, tolerance);
        // What repeats may be the strongest explanation and still not enough: the next may be.
        if (!hypothesis.accepted()) continue;
        const bool known = std::any_of(ranked.begin(), ranked.end(), [&](const Ranked& other) {
            return (other.hypothesis.bFromA - bFromA).norm() < 3 * tolerance;
        });
        if (known) continue;
        const double likeness = overlapLikeness(a.features, b.features, a.lens, b.lens, bFromA)
                                    .value_or(kUnknownLikeness);
        ranked.push_back({std::move(hypothesis), likeness});
    }
    const double width_px = std::max(a.lens.sensor().width_px, b.lens.sensor().width_px);
    return likely(std::move(ranked), tolerance_px > kRoughShare * width_px);
}

}  // namespace plateloom::stitch
