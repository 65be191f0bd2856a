#include "world/view_truth.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <opencv2/core.hpp>

#include "stitch/patch_registration.h"

namespace plateloom::world {

namespace {

constexpr int kPatch_px = 21, kArea_px = 8;
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

cv::Mat lightOf(const io::Picture& picture) {
    cv::Mat light(picture.height, picture.width, CV_32F);
    for (int y = 0; y < picture.height; ++y)
        for (int x = 0; x < picture.width; ++x) {
            const float* p = picture.at(x, y);
            light.at<float>(y, x) = 0.25f * p[0] + 0.6f * p[1] + 0.15f * p[2];
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

void compareGeometry(const io::Picture& view, const io::Picture& recorded,
                     const ViewComparison& how, ViewErrors& errors) {
    const cv::Mat here = lightOf(recorded), there = lightOf(view);
    const auto grid = stitch::PatchGrid::plain(kPatch_px);
    const double step_px = double(recorded.width) / how.across;
    const int down = std::max(1, int(recorded.height / step_px));
    const int reach_px = int(grid.reach_px + how.reach_px) + 4;
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
    if (errors.patches.empty()) return;
    std::vector<double> lengths;
    double squares = 0;
    const double count = double(errors.patches.size());
    for (const PatchShift& p : errors.patches) {
        lengths.push_back(std::hypot(p.dx_px, p.dy_px));
        squares += lengths.back() * lengths.back();
        errors.mean_dx_px += p.dx_px / count;
        errors.mean_dy_px += p.dy_px / count;
    }
    errors.rms_px = std::sqrt(squares / count);
    errors.p95_px = quantile(lengths, 0.95);
    errors.largest_px = quantile(lengths, 1.0);
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
