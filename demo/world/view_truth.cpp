#include "world/view_truth.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "stitch/patch_registration.h"

namespace plateloom::world {

namespace {

constexpr int kPatch_px = 21, kArea_px = 8;
constexpr int kBlurReach_px = 6;
constexpr double kItself_px = 1e-3;

bool covered(const io::Picture& picture, int x, int y) {
    return picture.channels < 4 || picture.at(x, y)[3] >= 0.999f;
}

double quantile(std::vector<double>& values, double share) {
    if (values.empty()) return 0;
    const auto at = values.begin() + std::ptrdiff_t(share * double(values.size() - 1));
    std::nth_element(values.begin(), at, values.end());
    return *at;
}

Rgb commonFactor(const io::Picture& view, const io::Picture& recorded) {
    Rgb factor(1, 1, 1);
    for (int c = 0; c < 3; ++c) {
        std::vector<double> ratios;
        for (int y = 0; y < view.height; ++y)
            for (int x = 0; x < view.width; ++x)
                if (covered(view, x, y) && view.at(x, y)[c] > 1e-6f &&
                    recorded.at(x, y)[c] > 0.005f)
                    ratios.push_back(recorded.at(x, y)[c] / view.at(x, y)[c]);
        if (!ratios.empty()) factor[c] = float(quantile(ratios, 0.5));
    }
    return factor;
}

cv::Mat lightOf(const io::Picture& picture, const Rgb& factor = {1, 1, 1}) {
    cv::Mat light(picture.height, picture.width, CV_32F);
    for (int y = 0; y < picture.height; ++y)
        for (int x = 0; x < picture.width; ++x) {
            const float* p = picture.at(x, y);
            light.at<float>(y, x) =
                0.25f * p[0] * factor[0] + 0.6f * p[1] * factor[1] + 0.15f * p[2] * factor[2];
        }
    return light;
}

bool wholeAround(const io::Picture& view, int x, int y, int reach) {
    for (int j = y - reach; j <= y + reach; ++j)
        for (int i = x - reach; i <= x + reach; ++i)
            if (i < 0 || j < 0 || i >= view.width || j >= view.height || !covered(view, i, j))
                return false;
    return true;
}

cv::Mat blurred(const cv::Mat& light, double sigma_px) {
    cv::Mat out;
    if (sigma_px <= 0) return light;
    cv::GaussianBlur(light, out, {}, sigma_px, sigma_px, cv::BORDER_REPLICATE);
    return out;
}

// How unlike two pictures are, each place in proportion to its light: a lamp must not drown the
// rest.
double unlikeness(const cv::Mat& a, const cv::Mat& b) {
    double sum = 0;
    for (int y = kBlurReach_px; y < a.rows - kBlurReach_px; ++y)
        for (int x = kBlurReach_px; x < a.cols - kBlurReach_px; ++x) {
            const double p = a.at<float>(y, x), q = b.at<float>(y, x);
            const double off = (p - q) / (0.5 * (p + q) + 0.01);
            sum += off * off;
        }
    return sum;
}

// A panorama's view may be sharper than what a lens recorded, or softer. Where a patch cuts an edge
// a difference in sharpness looks like a shift; so the sharper of the two is brought to the other
// by one Gaussian.
void matchSharpness(cv::Mat& a, cv::Mat& b) {
    constexpr double kMost_px = 1.2, kStep_px = 0.05;
    double least = unlikeness(a, b);
    cv::Mat best_a = a, best_b = b;
    for (const bool first : {true, false})
        for (double sigma = 0.2; sigma <= kMost_px; sigma += kStep_px) {
            const cv::Mat softer = blurred(first ? a : b, sigma);
            const double now = first ? unlikeness(softer, b) : unlikeness(a, softer);
            if (now >= least) break;
            least = now;
            (first ? best_a : best_b) = softer;
            (first ? best_b : best_a) = first ? b : a;
        }
    a = best_a, b = best_b;
}

void compareGeometry(const io::Picture& view, const io::Picture& recorded,
                     const ViewComparison& how, ViewErrors& errors) {
    cv::Mat here = lightOf(recorded), there = lightOf(view, errors.factor);
    matchSharpness(here, there);
    const auto grid = stitch::PatchGrid::plain(kPatch_px);
    const double step_px = double(recorded.width) / how.across;
    const int down = std::max(1, int(recorded.height / step_px));
    const int reach_px = int(grid.reach_px + how.reach_px) + kBlurReach_px;
    for (int row = 0; row < down; ++row)
        for (int column = 0; column < how.across; ++column) {
            const int x = int((column + 0.5) * step_px);
            const int y = int((row + 0.5) * recorded.height / down);
            if (!wholeAround(view, x, y, reach_px)) continue;
            const calib::Vector2d at(x + 0.5, y + 0.5);
            // A patch that does not even find itself, from a little aside, has nothing to hold on
            // to.
            const calib::Vector2d aside = at + calib::Vector2d(0.3, 0.2);
            const auto itself = stitch::registerPatch(here, at, grid, here, aside, grid, {});
            if (!itself || (itself->px - at).norm() > kItself_px) continue;
            const auto found =
                stitch::registerPatch(here, at, grid, there, at, grid, {.reach_px = how.reach_px});
            if (found && found->sigma_px > how.worst_sigma_px) continue;
            ++errors.tried;
            if (!found) continue;
            const calib::Vector2d shift = found->px - at;
            errors.patches.push_back({at.x(), at.y(), shift.x(), shift.y(), found->sigma_px});
        }
}

void sumUp(ViewErrors& errors) {
    std::vector<double> lengths;
    double squares = 0;
    for (const PatchShift& p : errors.patches) {
        lengths.push_back(std::hypot(p.dx_px, p.dy_px));
        squares += lengths.back() * lengths.back();
    }
    errors.rms_px = std::sqrt(squares / std::max<double>(1, double(lengths.size())));
    errors.p95_px = quantile(lengths, 0.95);
}

double weightedMedian(std::vector<std::pair<double, double>> values) {
    std::sort(values.begin(), values.end());
    double all = 0, sum = 0;
    for (const auto& value : values) all += value.second;
    for (const auto& value : values)
        if ((sum += value.second) >= 0.5 * all) return value.first;
    return 0;
}

// Means over areas of `edge` x `edge` pixels that the view covers wholly, as relative errors.
std::vector<double> lightErrors(const io::Picture& view, const io::Picture& recorded,
                                const Rgb& factor, int edge) {
    std::vector<double> errors;
    for (int y0 = 0; y0 + edge <= view.height; y0 += edge)
        for (int x0 = 0; x0 + edge <= view.width; x0 += edge) {
            Rgb sum(0, 0, 0), truth(0, 0, 0);
            bool whole = true;
            for (int y = y0; y < y0 + edge; ++y)
                for (int x = x0; x < x0 + edge; ++x) {
                    whole = whole && covered(view, x, y);
                    for (int c = 0; c < 3; ++c) {
                        sum[c] += view.at(x, y)[c];
                        truth[c] += recorded.at(x, y)[c];
                    }
                }
            if (!whole) continue;
            const float share = 1.0f / float(edge * edge);
            for (int c = 0; c < 3; ++c)
                errors.push_back(std::abs(sum[c] * factor[c] - truth[c]) * share /
                                 (truth[c] * share + 0.01f));
        }
    return errors;
}

}  // namespace

std::vector<ZoneShift> zonesOf(const std::vector<PatchShift>& patches, int width, int height) {
    using Weighted = std::vector<std::pair<double, double>>;
    std::vector<Weighted> dx(kZonesAcross * kZonesDown), dy(kZonesAcross * kZonesDown);
    for (const PatchShift& p : patches) {
        const int column = std::min(kZonesAcross - 1, int(p.x_px * kZonesAcross / width));
        const int row = std::min(kZonesDown - 1, int(p.y_px * kZonesDown / height));
        const double weight = 1 / (p.sigma_px * p.sigma_px + 1e-4);
        const size_t zone = size_t(row * kZonesAcross + column);
        dx[zone].emplace_back(p.dx_px, weight);
        dy[zone].emplace_back(p.dy_px, weight);
    }
    std::vector<ZoneShift> zones;
    for (size_t i = 0; i < dx.size(); ++i)
        if (dx[i].size() >= 4)
            zones.push_back({weightedMedian(dx[i]), weightedMedian(dy[i]), int(dx[i].size())});
    return zones;
}

double largestZone_px(const std::vector<ZoneShift>& zones) {
    double largest = 0;
    for (const ZoneShift& zone : zones) largest = std::max(largest, zone.length_px());
    return largest;
}

ViewErrors compareView(const io::Picture& view, const io::Picture& recorded,
                       const ViewComparison& how) {
    assert(view.width == recorded.width && view.height == recorded.height && view.channels >= 3);
    ViewErrors errors;
    size_t whole = 0;
    for (int y = 0; y < view.height; ++y)
        for (int x = 0; x < view.width; ++x) whole += covered(view, x, y);
    errors.covered = double(whole) / (double(view.width) * view.height);
    errors.factor = commonFactor(view, recorded);
    compareGeometry(view, recorded, how, errors);
    sumUp(errors);
    auto pixels = lightErrors(view, recorded, errors.factor, 1);
    auto areas = lightErrors(view, recorded, errors.factor, kArea_px);
    errors.median_light = quantile(pixels, 0.5);
    errors.p95_light = quantile(pixels, 0.95);
    errors.median_area_light = quantile(areas, 0.5);
    errors.p95_area_light = quantile(areas, 0.95);
    return errors;
}

}  // namespace plateloom::world
