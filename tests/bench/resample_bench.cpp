// The resampler beside cv::remap with Lanczos4 on the same map, in the same run: speed (one core)
// and accuracy on sines of 11 and 16 pixels a period.
#include <cmath>
#include <cstdio>
#include <ctime>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "stitch/resample/resample.h"
#include "stitch/resample/resample_variants.h"

using namespace plateloom;
using stitch::SamplePoint;

namespace {

constexpr double kPi = 3.14159265358979323846;
constexpr int kWidth = 2048, kHeight = 1152;

// Light of a period of `period_px` along both axes; its value is known at any position.
double light(double x, double y, double period_px) {
    const double w = 2 * kPi / period_px;
    return 0.5 + 0.2 * std::sin(w * x + 0.3) + 0.2 * std::sin(w * y + 1.1);
}

struct Map {
    std::vector<SamplePoint> points, by_cell;  // row by row; in cells of 16 x 16, as compose goes
    cv::Mat x, y;
};

// A turn by a few degrees, a shift and a shrink or stretch: every phase occurs. Width and height
// are multiples of 16.
Map turnedMap(int width, int height, double scale) {
    Map map;
    map.x.create(height, width, CV_32F);
    map.y.create(height, width, CV_32F);
    const double c = std::cos(0.05), s = std::sin(0.05);
    for (int j = 0; j < height; ++j)
        for (int i = 0; i < width; ++i) {
            const double u = (i + 0.5 - 0.5 * width) * scale, v = (j + 0.5 - 0.5 * height) * scale;
            const double x = 0.5 * kWidth + c * u - s * v + 0.137;
            const double y = 0.5 * kHeight + s * u + c * v + 0.291;
            map.points.push_back({float(x), float(y), float(scale), float(scale)});
            map.x.at<float>(j, i) = float(x - 0.5);  // OpenCV's centres have whole coordinates
            map.y.at<float>(j, i) = float(y - 0.5);
        }
    for (int k = 0; k < width * height; ++k) {
        const int cell = k / 256, i = cell % (width / 16) * 16 + k % 16;
        const int j = cell / (width / 16) * 16 + k % 256 / 16;
        map.by_cell.push_back(map.points[size_t(j) * width + i]);
    }
    return map;
}

// Time that this thread had on a core: other work on the machine does not count.
double threadSeconds() {
    timespec now;
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
    return double(now.tv_sec) + 1e-9 * double(now.tv_nsec);
}

template <class F>
double bestSeconds(F&& run) {
    double best = 1e9;
    for (int i = 0; i < 5; ++i) {
        const double start = threadSeconds();
        run();
        best = std::min(best, threadSeconds() - start);
    }
    return best;
}

io::PlatePixels plateOf(double period_px, bool half) {
    io::PlatePixels plate;
    plate.width = kWidth;
    plate.height = kHeight;
    plate.clip_level = INFINITY;
    for (int y = 0; y < kHeight; ++y)
        for (int x = 0; x < kWidth; ++x) {
            const float v = float(light(x + 0.5, y + 0.5, period_px));
            for (const float value : {v, v, v, 1.0f})
                if (half)
                    plate.half.push_back(io::halfFromFloat(value));
                else
                    plate.full.push_back(value);
        }
    return plate;
}

// Error against the true light, dB below the sine's own power, away from the frame's edge.
double accuracy_dB(const std::vector<SamplePoint>& points, double period_px, const float* values,
                   int channels) {
    double error = 0, power = 0;
    for (size_t i = 0; i < points.size(); ++i) {
        const auto& p = points[i];
        if (p.x < 12 || p.y < 12 || p.x > kWidth - 12 || p.y > kHeight - 12) continue;
        const double truth = light(p.x, p.y, period_px);
        const double e = values[i * channels] - truth;
        error += e * e;
        power += (truth - 0.5) * (truth - 0.5);
    }
    return 10 * std::log10(error / power);
}

void benchAt(double scale) {
    const int width = int(1800 / scale) / 16 * 16, height = int(1000 / scale) / 16 * 16;
    const Map map = turnedMap(width, height, scale);
    const double mpix = width * double(height) * 1e-6;
    std::vector<float> out(map.points.size() * 4);
    cv::Mat remapped;
    for (const double period : {11.0, 16.0}) {
        const auto full = plateOf(period, false), half = plateOf(period, true);
        cv::Mat rgb(kHeight, kWidth, CV_32FC3);
        for (int y = 0; y < kHeight; ++y)
            for (int x = 0; x < kWidth; ++x)
                rgb.at<cv::Vec3f>(y, x) = cv::Vec3f::all(float(light(x + 0.5, y + 0.5, period)));
        const double cv_s = bestSeconds([&] {
            cv::remap(rgb, remapped, map.x, map.y, cv::INTER_LANCZOS4, cv::BORDER_REPLICATE);
        });
        std::printf("%5.2f %6.0f  %-34s %7.1f %9.1f\n", scale, period,
                    "cv::remap Lanczos4, float RGB", mpix / cv_s,
                    accuracy_dB(map.points, period, remapped.ptr<float>(), 3));
        const auto report = [&](const char* name, const io::PlatePixels& plate, auto&& resampler) {
            const double s = bestSeconds([&] {
                resampler(plate, nullptr, false, map.by_cell.data(), map.by_cell.size(),
                          out.data());
            });
            std::printf("%5.2f %6.0f  %-34s %7.1f %9.1f\n", scale, period, name, mpix / s,
                        accuracy_dB(map.by_cell, period, out.data(), 4));
        };
        const auto chosen = [](const io::PlatePixels& plate, const stitch::BrightLight* bright,
                               bool, const SamplePoint* points, size_t count, float* rgba) {
            stitch::resample(plate, bright, points, count, rgba);
        };
        report("resample, float RGBA plate", full, chosen);
        report("resample, half RGBA plate", half, chosen);
        report("resample portable, half plate", half, stitch::resamplePortable);
    }
}

}  // namespace

int main() {
    cv::setNumThreads(1);
    std::printf("scale period  %-34s  Mpix/s  error dB   (one core)\n", "");
    for (const double scale : {1.0, 1.25, 1.5, 2.0}) benchAt(scale);
    return 0;
}
