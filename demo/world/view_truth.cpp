#include "world/view_truth.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cassert>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <optional>

namespace plateloom::world {

namespace {

constexpr int kArea_px = 8;

bool seen(const io::Picture& picture, int x, int y) {
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
                if (seen(view, x, y) && view.at(x, y)[c] > 1e-6f && recorded.at(x, y)[c] > 0.005f)
                    ratios.push_back(recorded.at(x, y)[c] / view.at(x, y)[c]);
        if (!ratios.empty()) factor[c] = float(quantile(ratios, 0.5));
    }
    return factor;
}

bool wholeAround(const io::Picture& view, int x, int y, int reach) {
    for (int j = y - reach; j <= y + reach; ++j)
        for (int i = x - reach; i <= x + reach; ++i)
            if (i < 0 || j < 0 || i >= view.width || j >= view.height || !seen(view, i, j))
                return false;
    return true;
}

// Luminance, softened so that differences of neighbours are derivatives: a central difference is
// 0.4 % short at the shortest wave that a Gaussian of 1.5 pixels leaves.
cv::Mat softLight(const io::Picture& picture) {
    constexpr double kSigma_px = 1.5;
    cv::Mat light(picture.height, picture.width, CV_64F);
    for (int y = 0; y < picture.height; ++y)
        for (int x = 0; x < picture.width; ++x) {
            const float* p = picture.at(x, y);
            light.at<double>(y, x) = 0.25 * p[0] + 0.6 * p[1] + 0.15 * p[2];
        }
    cv::GaussianBlur(light, light, cv::Size(), kSigma_px);
    return light;
}

// The derivative of a well-sampled signal from its neighbours, to fourth order.
double slope(const cv::Mat& light, int x, int y, int dx, int dy) {
    const auto at = [&](int k) { return light.at<double>(y + k * dy, x + k * dx); };
    return (8 * (at(1) - at(-1)) - (at(2) - at(-2))) / 12;
}

// One block of the frame: what the view shows there as the recorded light moved by (dx, dy), a
// little sharper or softer, brighter and hazier. Least squares, every pixel by its relative error,
// so that a lamp counts no more than the wall beside it.
struct BlockFit {
    double dx_px = 0, dy_px = 0;
    double sigma_px = 0;  // of the worse of the two
    double residual = 0;  // RMS, relative
};

std::optional<BlockFit> fitBlock(const cv::Mat& view, const cv::Mat& recorded, int x0, int y0,
                                 int edge) {
    using Normal = Eigen::Matrix<double, 5, 5>;
    using Terms = Eigen::Matrix<double, 5, 1>;
    Normal normal = Normal::Zero();
    Terms right = Terms::Zero();
    double squares = 0;
    for (int y = y0; y < y0 + edge; ++y)
        for (int x = x0; x < x0 + edge; ++x) {
            const double light = recorded.at<double>(y, x);
            const double weight = 1 / (light + 0.01);
            const double bend = recorded.at<double>(y, x - 1) + recorded.at<double>(y, x + 1) +
                                recorded.at<double>(y - 1, x) + recorded.at<double>(y + 1, x) -
                                4 * light;
            Terms terms;
            terms << -slope(recorded, x, y, 1, 0), -slope(recorded, x, y, 0, 1), bend, light, 1;
            terms *= weight;
            const double off = (view.at<double>(y, x) - light) * weight;
            normal += terms * terms.transpose();
            right += terms * off;
            squares += off * off;
        }
    const Eigen::LDLT<Normal> solver(normal);
    const Normal inverse = solver.solve(Normal::Identity());
    const Terms found = solver.solve(right);
    if (solver.info() != Eigen::Success || !found.allFinite()) return std::nullopt;
    BlockFit fit;
    fit.dx_px = found[0];
    fit.dy_px = found[1];
    const double rest = std::max(0.0, squares - found.dot(right)) / double(edge * edge - 5);
    // The softening ties neighbours together: some seven of them are one.
    constexpr double kTied = 7;
    fit.sigma_px = std::sqrt(rest * kTied * std::max(inverse(0, 0), inverse(1, 1)));
    fit.residual = std::sqrt(rest);
    return fit;
}

void compareGeometry(const io::Picture& view, const io::Picture& recorded,
                     const ViewComparison& how, ViewErrors& errors) {
    io::Picture scaled = view;
    for (size_t i = 0; i < scaled.data.size(); ++i) {
        const auto c = int(i % size_t(scaled.channels));
        if (c < 3) scaled.data[i] *= errors.factor[c];
    }
    const cv::Mat there = softLight(scaled), here = softLight(recorded);
    constexpr int kMargin_px = 8;  // of the softening and the derivatives
    const int edge = recorded.width / how.across;
    for (int y = kMargin_px; y + edge + kMargin_px <= recorded.height; y += edge)
        for (int x = kMargin_px; x + edge + kMargin_px <= recorded.width; x += edge) {
            if (!wholeAround(view, x + edge / 2, y + edge / 2, edge / 2 + kMargin_px)) continue;
            ++errors.places;
            const auto fit = fitBlock(there, here, x, y, edge);
            if (!fit) continue;
            if (fit->sigma_px > how.worst_sigma_px || fit->residual > how.worst_residual) continue;
            errors.patches.push_back(
                {x + edge / 2.0, y + edge / 2.0, fit->dx_px, fit->dy_px, fit->sigma_px});
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
                    whole = whole && seen(view, x, y);
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
        for (int x = 0; x < view.width; ++x) whole += seen(view, x, y);
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
