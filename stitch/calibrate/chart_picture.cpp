#include "stitch/calibrate/chart_picture.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace plateloom::stitch {

namespace {

constexpr float kRed = 0.2126f, kGreen = 0.7152f, kBlue = 0.0722f;

float percentile(const cv::Mat& light, double share) {
    // Every 7th pixel of every 5th row says it well enough.
    std::vector<float> values;
    values.reserve(size_t(light.rows / 5 + 1) * size_t(light.cols / 7 + 1));
    for (int y = 0; y < light.rows; y += 5)
        for (int x = y % 7; x < light.cols; x += 7) values.push_back(light.at<float>(y, x));
    const auto nth = values.begin() + ptrdiff_t(share * double(values.size() - 1));
    std::nth_element(values.begin(), nth, values.end());
    return *nth;
}

}  // namespace

cv::Mat tonesOf(const cv::Mat& light, double white_share) {
    const float white = std::max(percentile(light, white_share), 1e-9f);
    // A table in place of a power for each pixel: its steps are finer than a film scan's.
    constexpr int kSteps = 8192;
    std::vector<float> table(kSteps + 1);
    for (int i = 0; i <= kSteps; ++i)
        table[size_t(i)] = 255.0f * std::pow(float(i) / kSteps, 1 / 2.2f);
    cv::Mat tone(light.size(), CV_32F);
    for (int y = 0; y < light.rows; ++y) {
        const float* from = light.ptr<float>(y);
        float* to = tone.ptr<float>(y);
        for (int x = 0; x < light.cols; ++x) {
            const float at = std::clamp(from[x] / white, 0.0f, 1.0f) * kSteps;
            const int i = std::min(int(at), kSteps - 1);
            const float t = at - float(i);
            to[x] = table[size_t(i)] * (1 - t) + table[size_t(i) + 1] * t;
        }
    }
    return tone;
}

ChartLight readChartLight(const io::PlateFile& file) {
    const io::PlatePixels pixels = io::readPlatePixels(file);
    ChartLight out;
    out.light.create(pixels.height, pixels.width, CV_32F);
    for (int y = 0; y < pixels.height; ++y) {
        float* row = out.light.ptr<float>(y);
        for (int x = 0; x < pixels.width; ++x) {
            float rgba[4];
            pixels.read(x, y, rgba);
            row[x] = kRed * rgba[0] + kGreen * rgba[1] + kBlue * rgba[2];
        }
    }
    out.tone = tonesOf(out.light, 0.99);
    return out;
}

}  // namespace plateloom::stitch
