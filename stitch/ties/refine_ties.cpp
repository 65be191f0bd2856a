#include "stitch/ties/refine_ties.h"

#include <tbb/parallel_for.h>

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stitch/ties/corners.h"
#include "stitch/ties/patch_registration.h"

namespace plateloom::stitch {

namespace {

// What registration promises even where the patch says better: interpolation, the affine
// approximation and aliasing are not in its residual.
constexpr double kSigmaFloor_px = 0.02;
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

// Enough halvings that the search is a few steps wide in the smallest picture.
int levelsFor(double search_px) {
    constexpr double kSteps = 4;
    int levels = 1;
    if (search_px > kDirect_px) ++levels;
    for (double reach = 2 * kSteps; reach < search_px; reach *= 2) ++levels;
    return levels;
}

// The transfer at a point, to second order.
struct LocalMap {
    Vector2d px = Vector2d::Zero();
    Matrix2d slope = Matrix2d::Identity();
    Eigen::Matrix<double, 2, 3> bend = Eigen::Matrix<double, 2, 3>::Zero();  // of x², x y, y²
};

// From differences over the patch's own width, which is what its samples will need.
std::optional<LocalMap> localMap(const TransferAToB& bFromA, const Vector2d& px, double h_px) {
    Vector2d at[3][3];
    for (int j = 0; j < 3; ++j) {
        for (int i = 0; i < 3; ++i) {
            const auto found = bFromA(px + h_px * Vector2d(i - 1, j - 1));
            if (!found) return std::nullopt;
            at[j][i] = *found;
        }
    }
    LocalMap map;
    map.px = at[1][1];
    map.slope.col(0) = (at[1][2] - at[1][0]) / (2 * h_px);
    map.slope.col(1) = (at[2][1] - at[0][1]) / (2 * h_px);
    map.bend.col(0) = (at[1][2] - 2 * at[1][1] + at[1][0]) / (2 * h_px * h_px);
    map.bend.col(1) = (at[2][2] - at[2][0] - at[0][2] + at[0][0]) / (4 * h_px * h_px);
    map.bend.col(2) = (at[2][1] - 2 * at[1][1] + at[0][1]) / (2 * h_px * h_px);
    constexpr double kLeastArea = 0.05;
    if (!(std::abs(map.slope.determinant()) > kLeastArea)) return std::nullopt;
    return map;
}

struct PicturePair {
    std::vector<cv::Mat> a, b;  // full size first
    cv::Mat valid_a, valid_b;
    const TransferAToB& bFromA;
    const RefineSettings& settings;
};

// No missing or clipped pixel within `reach_px`, along x and y.
bool validThroughout(const cv::Mat& valid, const Vector2d& px, double reach_px) {
    const cv::Point low(int(std::floor(px.x() - reach_px)), int(std::floor(px.y() - reach_px)));
    const int edge = int(std::ceil(2 * reach_px)) + 1;
    const cv::Rect box(low, cv::Size(edge, edge));
    return (box & cv::Rect({0, 0}, valid.size())) == box &&
           cv::countNonZero(valid(box)) == box.area();
}

// From the smallest picture up to the second largest: a place a pixel or two from the true one.
std::optional<Vector2d> coarsePlace(const PicturePair& pair, const Vector2d& px_a, Vector2d at,
                                    const LocalMap& map) {
    constexpr int kCoarseEdge = 11;  // as many samples as tell one place from another
    const int edge = std::min(pair.settings.patch_px, kCoarseEdge);
    const PatchGrid plain = PatchGrid::plain(edge);
    for (int level = int(pair.a.size()) - 1; level > 0; --level) {
        const double scale = std::ldexp(1.0, level);
        const PatchGrid bent = PatchGrid::bent(edge, map.slope, scale * map.bend);
        const bool first = level == int(pair.a.size()) - 1;
        const int steps = first ? int(std::ceil(pair.settings.search_px / scale)) + 1 : 1;
        const auto found = searchPatch({pair.a[level], px_a / scale, plain},
                                       {pair.b[level], at / scale, bent}, steps);
        if (first && !found) return std::nullopt;
        if (found) at = *found * scale;
    }
    return at;
}

// A small part of a plate in linear light. Corners are looked for and searched in log light, but
// registered in linear: a blurred edge lies where it lies in linear light only (in log light it
// moves toward its dark side, the more the blurrier), and the two plates see it with different blur
// wherever their scales differ.
struct LinearPart {
    cv::Mat light;  // CV_32F, the brightest 1
    Vector2d corner_px;
};

LinearPart linearPart(const cv::Mat& log_light, const Vector2d& centre, double reach_px) {
    const cv::Point low(int(std::floor(centre.x() - reach_px)),
                        int(std::floor(centre.y() - reach_px)));
    const int edge = int(std::ceil(2 * reach_px)) + 1;
    const cv::Rect box = cv::Rect(low, cv::Size(edge, edge)) & cv::Rect({0, 0}, log_light.size());
    LinearPart part{{}, Vector2d(box.x, box.y)};
    if (box.empty()) return part;
    double highest = 0;
    cv::minMaxLoc(log_light(box), nullptr, &highest);
    cv::exp(log_light(box) - highest, part.light);
    return part;
}

// There, and back again from what was found.
std::optional<Tie> registeredBothWays(const PicturePair& pair, const Tie& tie, const Vector2d& at,
                                      const LocalMap& map) {
    const RefineSettings& settings = pair.settings;
    const PatchGrid plain = PatchGrid::plain(settings.patch_px);
    const PatchGrid bent = PatchGrid::bent(settings.patch_px, map.slope, map.bend);
    const PatchSettings patch{std::min(settings.search_px, kDirect_px) + 0.5,
                              settings.least_correlation};
    constexpr double kTaps_px = 4;
    const LinearPart a =
        linearPart(pair.a[0], tie.px_a, plain.reach_px + kClosure_px + patch.reach_px + kTaps_px);
    const LinearPart b = linearPart(pair.b[0], at, bent.reach_px + patch.reach_px + kTaps_px);
    if (a.light.empty() || b.light.empty()) return std::nullopt;
    const Vector2d start_a = tie.px_a - a.corner_px;
    const auto there =
        registerPatch({a.light, start_a, plain}, {b.light, at - b.corner_px, bent}, patch);
    if (!there || there->sigma_px > kWorstSigma_px) return std::nullopt;
    const auto back = registerPatch({b.light, there->px, bent}, {a.light, start_a, plain}, patch);
    if (!back) return std::nullopt;
    const Vector2d closure = back->px - start_a;
    if (closure.norm() > kClosure_px) return std::nullopt;
    Tie out = tie;
    // Half of what is left between there and back: neither picture is the master.
    out.px_b = there->px + b.corner_px - 0.5 * (map.slope * closure);
    out.sigma_px = std::hypot(there->sigma_px, kSigmaFloor_px);
    if (!validThroughout(pair.valid_a, tie.px_a, plain.reach_px) ||
        !validThroughout(pair.valid_b, out.px_b, bent.reach_px))
        return std::nullopt;
    return out;
}

// `start_given`: the tie's own px_b is the guess, rather than the transfer's answer.
std::optional<Tie> registered(const PicturePair& pair, const Tie& tie, bool start_given) {
    const auto map = localMap(pair.bFromA, tie.px_a, 0.5 * pair.settings.patch_px);
    if (!map) return std::nullopt;
    const Vector2d start = start_given ? tie.px_b : map->px;
    const auto at = coarsePlace(pair, tie.px_a, start, *map);
    if (!at) return std::nullopt;
    auto out = registeredBothWays(pair, tie, *at, *map);
    if (!out || (out->px_b - start).norm() > pair.settings.search_px + 0.5) return std::nullopt;
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
    return {pyramid(light_a.log_light, levels),
            pyramid(light_b.log_light, levels),
            light_a.valid,
            light_b.valid,
            bFromA,
            settings};
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
    const std::vector<Corner> corners =
        spreadCorners(light_a, inside, int(kMoreCorners * settings.wanted), settings.patch_px);
    std::vector<Tie> ties;
    ties.reserve(corners.size());
    for (const Corner& corner : corners) ties.push_back({a, b, corner.px, corner.px, 0});
    std::vector<Tie> found =
        registeredTies(picturePair(light_a, light_b, bFromA, settings), ties, false);
    if (int(found.size()) > settings.wanted) {
        // Thin out evenly along the scan order, which keeps the spread.
        std::vector<Tie> thinned;
        thinned.reserve(size_t(settings.wanted));
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
