#include "stitch/ties/overlap_likeness.h"

#include <cmath>

namespace plateloom::stitch {

namespace {

// Bilinear, `px` in the thumbnail's pixels; its edge is repeated.
float sampleThumbnail(const cv::Mat& thumbnail, const Vector2d& px) {
    const float x = std::clamp(float(px.x()) - 0.5f, 0.0f, float(thumbnail.cols - 1) - 1e-3f);
    const float y = std::clamp(float(px.y()) - 0.5f, 0.0f, float(thumbnail.rows - 1) - 1e-3f);
    const int i = int(x), j = int(y);
    const float u = x - float(i), v = y - float(j);
    const float *top = thumbnail.ptr<float>(j) + i, *low = thumbnail.ptr<float>(j + 1) + i;
    return (1 - v) * ((1 - u) * top[0] + u * top[1]) + v * ((1 - u) * low[0] + u * low[1]);
}

}  // namespace

std::optional<double> overlapLikeness(const PlateFeatures& a, const PlateFeatures& b,
                                      const calib::LensMap& lens_a, const calib::LensMap& lens_b,
                                      const Matrix3d& bFromA) {
    constexpr int kLeastSamples = 60;
    // Neighbouring samples say much the same: this many stand for one that is independent.
    constexpr double kAlikeSamples = 6;
    constexpr double kLeastDeviation = 4;  // codes: less is a plain wall
    if (a.thumbnail.empty() || b.thumbnail.empty()) return std::nullopt;
    const auto scaleOf = [](const cv::Mat& thumbnail, const calib::Sensor& sensor) {
        return Vector2d(double(sensor.width_px) / thumbnail.cols,
                        double(sensor.height_px) / thumbnail.rows);
    };
    const Vector2d scale_a = scaleOf(a.thumbnail, lens_a.sensor());
    const Vector2d scale_b = scaleOf(b.thumbnail, lens_b.sensor());
    int count = 0;
    double sum_a = 0, sum_b = 0, aa = 0, bb = 0, ab = 0;
    for (int j = 0; j < a.thumbnail.rows; ++j) {
        for (int i = j % 2; i < a.thumbnail.cols; i += 2) {
            const Vector2d px_a = scale_a.cwiseProduct(Vector2d(i + 0.5, j + 0.5));
            const auto ray = lens_a.rayFromRecorded(px_a);
            if (!ray) continue;
            const auto px_b = lens_b.recordedFromRay(bFromA * *ray);
            if (!px_b || !lens_b.inPicture(*px_b)) continue;
            const double value_a = a.thumbnail.at<float>(j, i);
            const double value_b = sampleThumbnail(b.thumbnail, px_b->cwiseQuotient(scale_b));
            ++count;
            sum_a += value_a, sum_b += value_b;
            aa += value_a * value_a, bb += value_b * value_b, ab += value_a * value_b;
        }
    }
    if (count < kLeastSamples) return std::nullopt;
    const double var_a = aa / count - std::pow(sum_a / count, 2);
    const double var_b = bb / count - std::pow(sum_b / count, 2);
    if (std::min(var_a, var_b) < kLeastDeviation * kLeastDeviation) return std::nullopt;
    const double correlation =
        (ab / count - sum_a * sum_b / count / count) / std::sqrt(var_a * var_b);
    return correlation - std::sqrt(kAlikeSamples / count);
}

}  // namespace plateloom::stitch
