// A texture without pixels: a sum of random waves, so that its value is known exactly at any place
// and nothing in it is finer than `shortest_px`.
#pragma once

#include <cmath>
#include <opencv2/core.hpp>
#include <random>
#include <vector>

#include "stitch/ties/features.h"

namespace plateloom::stitch {

class WaveTexture {
public:
    WaveTexture(unsigned seed, double shortest_px, double longest_px, int waves = 80) {
        std::mt19937 random(seed);
        std::uniform_real_distribution<double> unit(0.0, 1.0);
        for (int i = 0; i < waves; ++i) {
            const double length =
                shortest_px * std::pow(longest_px / shortest_px, double(i) / (waves - 1));
            const double angle = 2 * kPi * unit(random), k = 2 * kPi / length;
            waves_.push_back({k * std::cos(angle), k * std::sin(angle), 2 * kPi * unit(random),
                              std::sqrt(length) * 0.08 / std::sqrt(double(waves))});
        }
    }
    [[nodiscard]] double at(double x, double y) const {
        double sum = 0;
        for (const Wave& w : waves_) sum += w.size * std::sin(w.kx * x + w.ky * y + w.phase);
        return sum;
    }

private:
    static constexpr double kPi = 3.14159265358979323846;
    struct Wave {
        double kx, ky, phase, size;
    };
    std::vector<Wave> waves_;
};

/// A plate's log light: `value(x, y)` at pixel centres, plus white noise.
template <class Value>
LightPicture pictureOf(int width, int height, const Value& value, double noise = 0,
                       unsigned seed = 1) {
    LightPicture light{cv::Mat(height, width, CV_32F), cv::Mat(height, width, CV_8U, 255)};
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(0.0, 1.0);
    for (int y = 0; y < height; ++y) {
        for (int x = 0; x < width; ++x) {
            light.log_light.at<float>(y, x) =
                float(value(x + 0.5, y + 0.5) + (noise > 0 ? noise * normal(random) : 0.0));
        }
    }
    return light;
}

}  // namespace plateloom::stitch
