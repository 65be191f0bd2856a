#include "stitch/ties/features.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <opencv2/features2d.hpp>
#include <opencv2/imgproc.hpp>

namespace plateloom::stitch {

namespace {

// Long edge of the picture that the detector sees. Ties are registered at full size later, so this
// only has to find and recognise things.
constexpr int kDetectEdge_px = 1024;

// OpenCV's SIFT doubles its first octave with cv::resize(INTER_LINEAR), which puts the centre of
// pixel x at 2x + 0.5 of the doubled picture, and then halves the coordinates it found there: every
// point comes out 0.25 px too far right and down (OpenCV 4.6, features2d/src/sift.dispatch.cpp,
// createInitialImage; later versions have an option for it). Measured over rendered blobs at known
// places: see tests/unit/stitch/ties/features_test.cpp.
constexpr double kDoublingShift_px = 0.25;

struct Reduced {
    cv::Mat light;  // CV_32F
    cv::Mat share;  // CV_32F, how much of each pixel is valid, 0 to 1; empty: all
    double scale_x = 1, scale_y = 1;
};

// Averages over areas, so a corner at (0, 0) stays at (0, 0) and full = scale * reduced.
Reduced reduce(const LightPicture& light) {
    const cv::Size full = light.log_light.size();
    const double scale = std::max(1.0, double(std::max(full.width, full.height)) / kDetectEdge_px);
    const cv::Size small(std::max(1, int(std::lround(full.width / scale))),
                         std::max(1, int(std::lround(full.height / scale))));
    Reduced out;
    out.scale_x = double(full.width) / small.width;
    out.scale_y = double(full.height) / small.height;
    const bool whole = cv::countNonZero(light.valid) == full.area();
    cv::resize(light.log_light, out.light, small, 0, 0, cv::INTER_AREA);
    if (!whole) {
        cv::resize(light.valid, out.share, small, 0, 0, cv::INTER_AREA);
        out.share.convertTo(out.share, CV_32F, 1.0 / 255.0);
    }
    return out;
}

// Local mean 0 and deviation 1 over a window, but no more than noise and haze deserve.
cv::Mat equalised(const Reduced& reduced) {
    constexpr int kWindow_px = 49;
    constexpr double kLeastContrast = 0.05;  // natural log units: 5 % of light
    constexpr double kCodePerDeviation = 45;
    const cv::Size window(kWindow_px, kWindow_px);
    cv::Mat mean, square;
    if (reduced.share.empty()) {
        cv::blur(reduced.light, mean, window);
        cv::sqrBoxFilter(reduced.light, square, CV_32F, window);
    } else {
        cv::Mat weight, weighted = reduced.light.mul(reduced.share);
        cv::blur(reduced.share, weight, window);
        weight = cv::max(weight, 1e-6);
        cv::blur(weighted, mean, window);
        cv::divide(mean, weight, mean);
        cv::blur(weighted.mul(reduced.light), square, window);
        cv::divide(square, weight, square);
    }
    cv::Mat codes(reduced.light.size(), CV_8U);
    for (int y = 0; y < codes.rows; ++y) {
        const float *light = reduced.light.ptr<float>(y), *m = mean.ptr<float>(y),
                    *s = square.ptr<float>(y);
        const float* share = reduced.share.empty() ? nullptr : reduced.share.ptr<float>(y);
        uint8_t* code = codes.ptr<uint8_t>(y);
        for (int x = 0; x < codes.cols; ++x) {
            const float variance = std::max(0.0f, s[x] - m[x] * m[x]);
            const float gain = float(kCodePerDeviation) /
                               std::sqrt(variance + float(kLeastContrast * kLeastContrast));
            const float level = (light[x] - m[x]) * gain * (share ? share[x] : 1.0f);
            code[x] = cv::saturate_cast<uint8_t>(128.0f + level);
        }
    }
    return codes;
}

cv::Mat thumbnailOf(const cv::Mat& codes) {
    constexpr double kEdge_px = 128;
    const double scale = std::min(1.0, kEdge_px / std::max(codes.cols, codes.rows));
    cv::Mat thumbnail;
    codes.convertTo(thumbnail, CV_32F);
    const cv::Size size(std::max(1, int(std::lround(codes.cols * scale))),
                        std::max(1, int(std::lround(codes.rows * scale))));
    cv::resize(thumbnail, thumbnail, size, 0, 0, cv::INTER_AREA);
    return thumbnail;
}

// The strongest of each cell first, then each cell's second, and so on: even spread without a
// threshold that a dark corner could never reach.
std::vector<int> spread(const std::vector<cv::KeyPoint>& points, cv::Size size, int wanted) {
    const double cell_px = std::sqrt(double(size.area()) / std::max(1, wanted / 8));
    const int columns = int(size.width / cell_px) + 1;
    std::vector<int> order(points.size());
    std::iota(order.begin(), order.end(), 0);
    std::stable_sort(order.begin(), order.end(),
                     [&](int i, int j) { return points[i].response > points[j].response; });
    std::vector<int> taken(size_t(columns) * (int(size.height / cell_px) + 1), 0);
    std::vector<std::pair<int, int>> ranked;
    for (const int i : order) {
        const int cell = int(points[i].pt.y / cell_px) * columns + int(points[i].pt.x / cell_px);
        ranked.push_back({taken[cell]++, i});
    }
    std::stable_sort(ranked.begin(), ranked.end(),
                     [](const auto& l, const auto& r) { return l.first < r.first; });
    std::vector<int> chosen;
    for (const auto& [rank, i] : ranked) {
        if (int(chosen.size()) == wanted) break;
        chosen.push_back(i);
    }
    return chosen;
}

// RootSIFT (Arandjelovic and Zisserman, CVPR 2012): the square root of the L1-normalised histogram,
// so that the Euclidean distance is Hellinger's. Kept as 16-bit whole numbers of unit length 512,
// which the processor multiplies eight at a time.
void rootDescriptor(const float* sift, int16_t* root) {
    float sum = 0;
    for (int k = 0; k < 128; ++k) sum += sift[k];
    const float scale = sum > 0 ? 512.0f * 512.0f / sum : 0.0f;
    for (int k = 0; k < 128; ++k) root[k] = int16_t(std::lround(std::sqrt(sift[k] * scale)));
}

}  // namespace

PlateFeatures detectFeatures(const LightPicture& light, int wanted) {
    const Reduced reduced = reduce(light);
    const cv::Mat codes = equalised(reduced);
    // A strip holds nothing that could be known again, and no pyramid can be made of it.
    constexpr int kLeastSide_px = 8;
    if (std::min(codes.cols, codes.rows) < kLeastSide_px) {
        PlateFeatures none;
        none.descriptors.create(0, 128, CV_16S);
        return none;
    }

    constexpr int kLayers = 3;
    constexpr double kContrast = 0.02, kEdge = 10, kSigma = 1.6;
    const auto sift = cv::SIFT::create(0, kLayers, kContrast, kEdge, kSigma);
    // A descriptor costs 25 us and a textured plate has three times as many points as are wanted:
    // it is quicker to choose first and build the pyramid twice.
    std::vector<cv::KeyPoint> all, points;
    // A picture that is a few pixels wide or high has nothing to tie, and no pyramid.
    constexpr int kLeastEdge_px = 16;
    if (std::min(codes.cols, codes.rows) >= kLeastEdge_px) sift->detect(codes, all);
    for (const int i : spread(all, codes.size(), wanted)) points.push_back(all[i]);
    cv::Mat descriptors;
    if (!points.empty()) sift->compute(codes, points, descriptors);

    PlateFeatures out;
    out.thumbnail = thumbnailOf(codes);
    const double scale = 0.5 * (reduced.scale_x + reduced.scale_y);
    std::vector<int> kept;
    for (int i = 0; i < int(points.size()); ++i) {
        // OpenCV's points are relative to the first pixel's centre; ours to its corner.
        const double x = (points[i].pt.x - kDoublingShift_px + 0.5) * reduced.scale_x;
        const double y = (points[i].pt.y - kDoublingShift_px + 0.5) * reduced.scale_y;
        const int column = std::clamp(int(x), 0, light.valid.cols - 1);
        const int row = std::clamp(int(y), 0, light.valid.rows - 1);
        if (!light.valid.at<uint8_t>(row, column)) continue;
        out.recorded_px.push_back({x, y});
        out.size_px.push_back(float(points[i].size * scale));
        out.angle_deg.push_back(points[i].angle);
        out.response.push_back(points[i].response);
        kept.push_back(i);
    }
    out.descriptors.create(int(kept.size()), 128, CV_16S);
    for (size_t k = 0; k < kept.size(); ++k) {
        rootDescriptor(descriptors.ptr<float>(kept[k]), out.descriptors.ptr<int16_t>(int(k)));
    }
    return out;
}

}  // namespace plateloom::stitch
