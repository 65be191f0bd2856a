#include "stitch/check/head_offset.h"

#include <Eigen/Cholesky>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <map>

#include "stitch/ties/overlap.h"
#include "stitch/ties/refine_ties.h"

namespace plateloom::stitch {

namespace {

using Slope = Eigen::Matrix<double, 2, 3>;

double quantile(std::vector<double> values, double share) {
    if (values.empty()) return 0;
    const auto nth = values.begin() + ptrdiff_t(share * double(values.size() - 1));
    std::nth_element(values.begin(), nth, values.end());
    return *nth;
}

// A tie, linear about the solved rotations.
struct Displacement {
    int a = 0, b = 0;    // places in the list of plates
    Vector2d off_px;     // where it is, less where the rotations put it
    Slope by_turn;       // of b's picture, by a small turn of the ray (world axes)
    Vector2d along;      // unit: where a pupil before the axis displaces it
    double px_by_q = 0;  // how far, for each unit of d / z
};

std::optional<Displacement> displacementOf(const PlacedPlate& a, const PlacedPlate& b,
                                           const Tie& tie) {
    const auto ray_a = a.lens.rayFromRecorded(tie.px_a);
    if (!ray_a) return std::nullopt;
    const Vector3d ray = a.worldFromCamera * *ray_a;
    const Matrix3d bFromWorld = b.worldFromCamera.transpose();
    const auto px = b.lens.recordedFromRay(bFromWorld * ray);
    if (!px) return std::nullopt;
    Displacement out;
    out.off_px = tie.px_b - *px;
    constexpr double kStep = 1e-4;
    Eigen::Matrix<double, 2, 3> by_shift;
    for (int axis = 0; axis < 3; ++axis) {
        const auto moved =
            b.lens.recordedFromRay(bFromWorld * (ray + kStep * Vector3d::Unit(axis)));
        if (!moved) return std::nullopt;
        by_shift.col(axis) = (*moved - *px) / kStep;
    }
    // A small turn w takes the ray to ray + w x ray.
    Matrix3d cross;
    cross << 0, ray.z(), -ray.y(), -ray.z(), 0, ray.x(), ray.y(), -ray.x(), 0;
    out.by_turn = by_shift * cross;
    const Vector3d pupils = a.worldFromCamera.col(1) - b.worldFromCamera.col(1);
    const Vector2d slope = by_shift * pupils;
    out.px_by_q = slope.norm();
    if (!(out.px_by_q > 1e-6)) return std::nullopt;
    out.along = slope / out.px_by_q;
    return out;
}

struct Fit {
    std::vector<Vector3d> turn;  // of each plate, world axes
    double cost = 0;
};

// Displacement along its direction (positive for the sign asked for) and across it, after the
// turns.
Vector2d rest(const Displacement& d, const std::vector<Vector3d>& turn, double sign) {
    const Vector2d off = d.off_px - d.by_turn * (turn[size_t(d.a)] - turn[size_t(d.b)]);
    const Vector2d across(-d.along.y(), d.along.x());
    return {sign * d.along.dot(off), across.dot(off)};
}

// Square below zero and within the noise, straight above; what is far below is an outlier.
double weightAlong(double e, double sigma) {
    constexpr double kAbove = 0.5, kBelow = 4;
    if (e > kAbove * sigma) return kAbove * sigma / e;
    return e < -kBelow * sigma ? std::pow(kBelow * sigma / e, 2) : 1;
}
double weightAcross(double e, double sigma) {
    constexpr double kStraight = 2;
    const double far = std::abs(e) / (kStraight * sigma);
    return far > 1 ? 1 / (far * far) : 1;
}
double lossAlong(double e, double sigma) {
    constexpr double kAbove = 0.5, kBelow = 4;
    const double limit = kAbove * sigma;
    if (e > limit) return limit * (2 * e - limit);
    return std::min(e * e, std::pow(kBelow * sigma, 2) *
                               (1 + 2 * std::log(std::max(1.0, -e / (kBelow * sigma)))));
}

Fit fitTurns(const std::vector<Displacement>& all, size_t plates, double sigma, double sign) {
    constexpr int kRounds = 30;
    const auto n = Eigen::Index(3 * plates);
    Fit fit{std::vector<Vector3d>(plates, Vector3d::Zero()), 0};
    for (int round = 0; round < kRounds; ++round) {
        Eigen::MatrixXd normal = Eigen::MatrixXd::Identity(n, n) * 1e-3;  // the whole may not turn
        Eigen::VectorXd right = Eigen::VectorXd::Zero(n);
        for (const auto& d : all) {
            const Vector2d now = rest(d, fit.turn, sign);
            const Vector2d across(-d.along.y(), d.along.x());
            const double wa = weightAlong(now.x(), sigma), wc = weightAcross(now.y(), sigma);
            const Eigen::Matrix2d weight =
                wa * d.along * d.along.transpose() + wc * across * across.transpose();
            const Vector2d off = d.off_px;
            const Matrix3d block = d.by_turn.transpose() * weight * d.by_turn;
            const Vector3d pull = d.by_turn.transpose() * (weight * off);
            const Eigen::Index a = 3 * d.a, b = 3 * d.b;
            normal.block<3, 3>(a, a) += block;
            normal.block<3, 3>(b, b) += block;
            normal.block<3, 3>(a, b) -= block;
            normal.block<3, 3>(b, a) -= block;
            right.segment<3>(a) += pull;
            right.segment<3>(b) -= pull;
        }
        const Eigen::VectorXd turns = normal.ldlt().solve(right);
        for (size_t p = 0; p < plates; ++p) fit.turn[p] = turns.segment<3>(Eigen::Index(3 * p));
    }
    for (const auto& d : all) fit.cost += lossAlong(rest(d, fit.turn, sign).x(), sigma);
    return fit;
}

std::vector<Displacement> displacementsOf(const std::vector<PlacedPlate>& placed,
                                          const std::vector<Tie>& ties) {
    std::map<int, int> place;
    for (size_t i = 0; i < placed.size(); ++i) place[placed[i].plate] = int(i);
    std::vector<Displacement> all;
    for (const Tie& tie : ties) {
        const auto a = place.find(tie.a), b = place.find(tie.b);
        if (a == place.end() || b == place.end()) continue;
        auto d = displacementOf(placed[size_t(a->second)], placed[size_t(b->second)], tie);
        if (!d) continue;
        d->a = a->second;
        d->b = b->second;
        all.push_back(*d);
    }
    return all;
}

double noiseOf(const std::vector<Displacement>& all, const std::vector<Vector3d>& turn) {
    constexpr double kLeast_px = 0.01;
    std::vector<double> across;
    for (const auto& d : all) across.push_back(std::abs(rest(d, turn, 1).y()));
    return std::max(kLeast_px, 1.4826 * quantile(across, 0.5));
}

// `signs`: of the offset, as far as they are possible.
std::optional<HeadOffset> measured(const std::vector<PlacedPlate>& placed,
                                   const std::vector<Tie>& ties, const std::vector<double>& signs) {
    constexpr size_t kEnough = 60;
    const auto all = displacementsOf(placed, ties);
    if (all.size() < kEnough) return std::nullopt;
    const double first_sigma = noiseOf(all, std::vector<Vector3d>(placed.size(), Vector3d::Zero()));
    Fit best;
    double sign = 0;
    for (const double s : signs) {
        Fit fit = fitTurns(all, placed.size(), first_sigma, s);
        if (sign != 0 && fit.cost >= best.cost) continue;
        best = std::move(fit);
        sign = s;
    }
    const double sigma = noiseOf(all, best.turn);

    std::vector<double> q, px;
    std::map<std::pair<int, int>, std::vector<double>> of_pair;
    for (const auto& d : all) {
        const Vector2d off = rest(d, best.turn, sign);
        constexpr double kTrue = 4;
        if (std::abs(off.y()) > kTrue * sigma) continue;
        q.push_back(off.x() / d.px_by_q);
        px.push_back(off.x());
        of_pair[{placed[size_t(d.a)].plate, placed[size_t(d.b)].plate}].push_back(off.x());
    }
    constexpr double kNearest = 0.98, kOfPair = 0.95, kSeen_px = 0.25;
    constexpr double kOutOfNoise = 6, kPairs = 0.2;
    HeadOffset found;
    found.offset_by_distance = sign * quantile(q, kNearest);
    found.parallax_px = quantile(px, kNearest);
    const double stands_out_px = std::max(kSeen_px, kOutOfNoise * sigma);
    size_t displaced = 0;
    for (const auto& [pair, some] : of_pair) {
        const double most = quantile(some, kOfPair);
        found.of_pair_px[pair] = std::max(0.0, most);
        displaced += most > 0.5 * stands_out_px;
    }
    found.stands_out =
        found.parallax_px > stands_out_px && double(displaced) > kPairs * double(of_pair.size());
    return found;
}

// Ties registered anew with room for near things.
std::vector<Tie> tiesWithRoom(const std::vector<PlacedPlate>& placed, LightStore& lights,
                              double search_px) {
    constexpr double kLeastShare = 0.05;
    RefineSettings settings;
    settings.search_px = search_px;
    settings.wanted = 120;
    std::vector<Tie> ties;
    for (size_t i = 0; i < placed.size(); ++i)
        for (size_t j = i + 1; j < placed.size(); ++j) {
            const PlacedPlate &a = placed[i], &b = placed[j];
            const Matrix3d bFromA = b.worldFromCamera.transpose() * a.worldFromCamera;
            if (overlapShare(a.lens, b.lens, bFromA) < kLeastShare) continue;
            const auto found =
                refineTies(a.plate, b.plate, *lights.get(a.plate), *lights.get(b.plate),
                           transferAToB(a.lens, b.lens, bFromA), settings);
            ties.insert(ties.end(), found.begin(), found.end());
        }
    return ties;
}

}  // namespace

std::optional<HeadOffset> findHeadOffset(const std::vector<PlacedPlate>& placed,
                                         const std::vector<Tie>& ties, LightStore& lights) {
    const auto found = measured(placed, ties, {1.0, -1.0});
    constexpr double kRoomEnough_px = 1.0;  // a solve looks at least 1.5 pixels far
    if (!found || !found->stands_out || found->parallax_px < kRoomEnough_px) return found;
    constexpr double kTimesFurther = 4, kFurthest_px = 16;
    const auto more =
        tiesWithRoom(placed, lights, std::min(kFurthest_px, kTimesFurther * found->parallax_px));
    const auto again = measured(placed, more, {found->offset_by_distance < 0 ? -1.0 : 1.0});
    return again && again->stands_out ? again : found;
}

}  // namespace plateloom::stitch
