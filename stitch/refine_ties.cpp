#include "stitch/refine_ties.h"

#include <tbb/parallel_for.h>

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stitch/corners.h"
#include "stitch/patch_registration.h"

namespace plateloom::stitch {

namespace {

// What registration promises even where the patch says better: interpolation, the affine
// approximation and aliasing are not in its residual.
constexpr double kSigmaFloor_px = 0.015;
constexpr double kWorstSigma_px = 0.25;
// There and back again must meet the start this closely.
constexpr double kClosure_px = 0.12;
// Patches are registered directly when the guess is this good; else from smaller pictures up.
constexpr double kDirect_px = 2.0;

// A picture and its halves: positions halve with them.
std::vector<cv::Mat> pyramid(const cv::Mat& light, int levels) {
    std::vector<cv::Mat> out{light};
    for (int level = 1; level < levels; ++level) {
        const cv::Mat& last = out.back();
        const cv::Mat even = last(cv::Rect(0, 0, last.cols & ~1, last.rows & ~1));
        cv::Mat half;
        cv::resize(even, half, even.size() / 2, 0, 0, cv::INTER_AREA);
        out.push_back(half);
    }
    return out;
}

int levelsFor(double search_px) {
    int levels = 1;
    for (double reach = kDirect_px; reach < search_px; reach *= 2) ++levels;
    return levels;
}

struct LocalMap {
    Vector2d px;
    Matrix2d slope;
};

// The transfer at a point and its slope, from central differences over the patch's own width.
std::optional<LocalMap> localMap(const TransferAToB& bFromA, const Vector2d& px, double step_px) {
    const auto at = bFromA(px);
    const auto right = bFromA(px + Vector2d(step_px, 0)), left = bFromA(px - Vector2d(step_px, 0));
    const auto below = bFromA(px + Vector2d(0, step_px)), above = bFromA(px - Vector2d(0, step_px));
    if (!at || !right || !left || !below || !above) return std::nullopt;
    LocalMap map{*at, {}};
    map.slope.col(0) = (*right - *left) / (2 * step_px);
    map.slope.col(1) = (*below - *above) / (2 * step_px);
    if (std::abs(map.slope.determinant()) < 0.05) return std::nullopt;
    return map;
}

struct PicturePair {
    std::vector<cv::Mat> a, b;  // full size first
    cv::Mat valid_b;
    const TransferAToB& bFromA;
    const RefineSettings& settings;
};

bool validAt(const cv::Mat& valid, const Vector2d& px, double half_px) {
    for (const double y : {px.y() - half_px, px.y(), px.y() + half_px}) {
        for (const double x : {px.x() - half_px, px.x(), px.x() + half_px}) {
            const int i = int(std::floor(x)), j = int(std::floor(y));
            if (i < 0 || j < 0 || i >= valid.cols || j >= valid.rows) return false;
            if (!valid.at<uint8_t>(j, i)) return false;
        }
    }
    return true;
}

// `start` may be better than the transfer's own answer (a match that is already there).
std::optional<Tie> registered(const PicturePair& pair, const Tie& tie, bool start_given) {
    const RefineSettings& settings = pair.settings;
    const auto map = localMap(pair.bFromA, tie.px_a, 0.5 * settings.patch_px);
    if (!map) return std::nullopt;
    const Vector2d start = start_given ? tie.px_b : map->px;
    PatchSettings patch{settings.patch_px, 0, 0};
    Vector2d at = start;
    for (int level = int(pair.a.size()) - 1; level > 0; --level) {
        const double scale = std::ldexp(1.0, level);
        patch.reach_px = kDirect_px + 1.0;
        patch.least_correlation = 0.6 * settings.least_correlation;
        const auto found = registerPatch(pair.a[level], tie.px_a / scale, pair.b[level], at / scale,
                                         map->slope, patch);
        if (found) at = found->px * scale;
    }
    patch.reach_px = std::min(settings.search_px, kDirect_px) + 0.5;
    patch.least_correlation = settings.least_correlation;
    const auto there = registerPatch(pair.a[0], tie.px_a, pair.b[0], at, map->slope, patch);
    if (!there || (there->px - start).norm() > settings.search_px + 0.5) return std::nullopt;
    if (!validAt(pair.valid_b, there->px, 0.5 * settings.patch_px)) return std::nullopt;
    const auto back =
        registerPatch(pair.b[0], there->px, pair.a[0], tie.px_a, map->slope.inverse(), patch);
    if (!back) return std::nullopt;
    const Vector2d closure = back->px - tie.px_a;
    if (closure.norm() > kClosure_px || there->sigma_px > kWorstSigma_px) return std::nullopt;
    Tie out = tie;
    // Half of what is left between there and back: neither picture is the master.
    out.px_b = there->px - 0.5 * (map->slope * closure);
    out.sigma_px = std::hypot(there->sigma_px, kSigmaFloor_px);
    return out;
}

std::vector<Tie> registeredTies(const PicturePair& pair, const std::vector<Tie>& ties,
                                bool start_given) {
    std::vector<std::optional<Tie>> found(ties.size());
    tbb::parallel_for(size_t(0), ties.size(),
                      [&](size_t i) { found[i] = registered(pair, ties[i], start_given); });
    std::vector<Tie> out;
    for (const auto& tie : found) {
        if (tie) out.push_back(*tie);
    }
    return out;
}

PicturePair picturePair(const LightPicture& light_a, const LightPicture& light_b,
                        const TransferAToB& bFromA, const RefineSettings& settings) {
    const int levels = levelsFor(settings.search_px);
    return {pyramid(light_a.log_light, levels), pyramid(light_b.log_light, levels), light_b.valid,
            bFromA, settings};
}

}  // namespace

std::vector<Tie> refineTies(int a, int b, const LightPicture& light_a, const LightPicture& light_b,
                            const TransferAToB& bFromA, const RefineSettings& settings) {
    // Some corners will not register: look for a few more than are wanted.
    constexpr double kMoreCorners = 1.4;
    const double margin = 0.5 * settings.patch_px + 3;
    const auto inside = [&](const Vector2d& px_a) {
        const auto px = bFromA(px_a);
        return px && px->x() > margin && px->y() > margin &&
               px->x() < light_b.log_light.cols - margin &&
               px->y() < light_b.log_light.rows - margin;
    };
    std::vector<Tie> ties;
    for (const Corner& corner :
         spreadCorners(light_a, inside, int(kMoreCorners * settings.wanted), settings.patch_px)) {
        ties.push_back({a, b, corner.px, corner.px, 0});
    }
    std::vector<Tie> found =
        registeredTies(picturePair(light_a, light_b, bFromA, settings), ties, false);
    if (int(found.size()) > settings.wanted) {
        // Thin out evenly along the scan order, which keeps the spread.
        std::vector<Tie> thinned;
        for (int k = 0; k < settings.wanted; ++k)
            thinned.push_back(found[size_t(k) * found.size() / settings.wanted]);
        found = std::move(thinned);
    }
    return found;
}

std::vector<Tie> refineGivenTies(const std::vector<Tie>& ties, const LightPicture& light_a,
                                 const LightPicture& light_b, const TransferAToB& bFromA,
                                 const RefineSettings& settings) {
    return registeredTies(picturePair(light_a, light_b, bFromA, settings), ties, true);
}

}  // namespace plateloom::stitch
