#include "stitch/resample/resample.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <limits>
#include <random>

#include "io/hole.h"
#include "stitch/resample/resample_variants.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

constexpr double kPi = 3.14159265358979323846;

using Light = std::function<double(double x, double y)>;

io::PlatePixels plateOf(int width, int height, const Light& light, bool half = false) {
    io::PlatePixels plate;
    plate.width = width;
    plate.height = height;
    plate.clip_level = std::numeric_limits<float>::infinity();
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x) {
            const float v = float(light(x + 0.5, y + 0.5));
            for (const float value : {v, v, v, 1.0f})
                if (half)
                    plate.half.push_back(io::halfFromFloat(value));
                else
                    plate.full.push_back(value);
        }
    return plate;
}

void breakPixel(io::PlatePixels& plate, int x, int y) {
    const size_t at = (size_t(y) * plate.width + x) * 4;
    if (plate.isHalf()) {
        std::fill_n(&plate.half[at], 3, uint16_t(0));
        plate.half[at + 3] = io::kHalfHole;
    } else {
        std::fill_n(&plate.full[at], 3, 0.0f);
        plate.full[at + 3] = io::kHole;
    }
}

std::array<float, 4> sampleOf(const io::PlatePixels& plate, double x, double y, double scale = 1) {
    const SamplePoint point{float(x), float(y), float(scale), float(scale)};
    std::array<float, 4> rgba;
    resample(plate, nullptr, &point, 1, rgba.data());
    return rgba;
}

Light sine(double period_px, double amplitude = 0.2) {
    const double w = 2 * kPi / period_px;
    return [=](double x, double y) {
        return 0.5 + amplitude * (std::sin(w * x + 0.3) + std::sin(w * y + 1.1));
    };
}

// Root mean square error over random places, dB below the light's own variation.
double error_dB(const io::PlatePixels& plate, const Light& light, double scale = 1) {
    std::mt19937 dice(7);
    std::uniform_real_distribution<double> x(16, plate.width - 16.0), y(16, plate.height - 16.0);
    double error = 0, power = 0;
    for (int i = 0; i < 4000; ++i) {
        const float px = float(x(dice)), py = float(y(dice));
        const double truth = light(px, py);
        const double e = sampleOf(plate, px, py, scale)[0] - truth;
        error += e * e;
        power += (truth - 0.5) * (truth - 0.5);
    }
    return 10 * std::log10(error / power);
}

}  // namespace

TEST_CASE("Sines come out at any place between the pixels, 75 dB and more exact") {
    for (const double period : {8.0, 11.0, 16.0, 40.0}) {
        const Light light = sine(period);
        CHECK(error_dB(plateOf(128, 96, light), light) < -75);
    }
}

TEST_CASE("A sine whose trough touches zero is not taken for overshoot") {
    const Light light = sine(11, 0.25);
    CHECK(error_dB(plateOf(128, 96, light), light) < -65);
}

TEST_CASE("At scale 1 the filter keeps 0.9 of the contrast and more at half the grid's limit") {
    const auto plate =
        plateOf(64, 64, [](double x, double) { return 0.5 + 0.4 * std::sin(kPi / 2 * (x - 0.5)); });
    double least = 1, sum = 0;
    for (int i = 0; i < 64; ++i) {
        const double x = 30 + i / 16.0;  // one period, any phase
        sum += std::abs(sampleOf(plate, x, 32)[0] - 0.5);
        least = std::min(least, double(sampleOf(plate, 33.0, 32)[0]));  // midway between two pixels
    }
    CHECK(sum / 64 > 0.9 * 0.4 * 2 / kPi);
}

TEST_CASE("Shrinking takes out what the output's grid can't hold") {
    // A period of 2.5 plate pixels; at a scale of 2 the output's limit is 4.
    const Light fine = sine(2.5);
    const auto plate = plateOf(128, 96, fine);
    std::mt19937 dice(3);
    std::uniform_real_distribution<double> x(24, 104), y(24, 72);
    double left = 0;
    for (int i = 0; i < 1000; ++i)
        left = std::max(left, std::abs(sampleOf(plate, x(dice), y(dice), 2.0)[0] - 0.5));
    CHECK(left < 0.02 * 0.4);
    // What it can hold well stays.
    CHECK(error_dB(plateOf(128, 96, sine(24)), sine(24), 2.0) < -60);
}

TEST_CASE("A constant plate stays constant to a millionth, at every scale and to the edge") {
    const auto plate = plateOf(40, 30, [](double, double) { return 0.7; });
    for (const double scale : {1.0, 1.03, 1.5, 2.7, 6.0, 12.0})
        for (const auto& [x, y] : {std::pair{0.0, 0.0}, {40.0, 30.0}, {0.2, 17.3}, {21.37, 9.91}}) {
            const auto rgba = sampleOf(plate, x, y, scale);
            CHECK(rgba[0] == Approx(0.7).epsilon(1e-6));
            CHECK(rgba[3] == 1);
        }
}

TEST_CASE("Outside the frame there is nothing") {
    const auto plate = plateOf(40, 30, [](double, double) { return 1.0; });
    const double nan = std::numeric_limits<double>::quiet_NaN();
    for (const auto& [x, y] : {std::pair{-0.01, 5.0},
                               {40.01, 5.0},
                               {5.0, -0.01},
                               {5.0, 30.01},
                               {-1e6, -1e6},
                               {nan, 5.0}})
        CHECK(sampleOf(plate, x, y) == std::array<float, 4>{0, 0, 0, 0});
}

TEST_CASE("A broken pixel is a hole of one pixel, and its neighbours don't know of it") {
    for (const bool half : {false, true}) {
        auto plate = plateOf(
            40, 30, [](double, double) { return 0.5; }, half);
        breakPixel(plate, 20, 15);
        CHECK(sampleOf(plate, 20.5, 15.5)[3] == 0);
        CHECK(sampleOf(plate, 20.1, 15.9) == std::array<float, 4>{0, 0, 0, 0});
        for (const auto& [x, y] :
             {std::pair{19.9, 15.5}, {21.1, 15.2}, {20.5, 16.4}, {23.2, 12.1}}) {
            CHECK(sampleOf(plate, x, y)[0] == Approx(0.5).epsilon(1e-4));
            CHECK(sampleOf(plate, x, y)[3] == 1);
        }
    }
}

TEST_CASE("Negative and very large values survive") {
    CHECK(sampleOf(plateOf(32, 32, [](double, double) { return -0.25; }), 13.3, 17.8)[0] ==
          Approx(-0.25).epsilon(1e-6));
    CHECK(sampleOf(plateOf(32, 32, [](double, double) { return 60000.0; }), 13.3, 17.8)[0] ==
          Approx(60000.0).epsilon(1e-6));
}

TEST_CASE("The smooth filter's alpha is the valid share, its light the mean over that") {
    auto plate = plateOf(40, 30, [](double, double) { return 0.5; });
    for (int y = 0; y < 30; ++y)
        for (int x = 0; x < 20; ++x) breakPixel(plate, x, y);
    const SamplePoint points[] = {{30, 15, 2, 2}, {20, 15, 2, 2}, {5, 15, 2, 2}, {40, 15, 2, 2}};
    float rgba[16];
    resampleSmooth(plate, points, 4, rgba);
    CHECK(rgba[3] == Approx(1));
    CHECK(rgba[7] == Approx(0.5).margin(0.01));
    CHECK(rgba[4] == Approx(0.5).epsilon(1e-5));
    CHECK(rgba[11] == 0);
    CHECK(rgba[15] == Approx(0.5).margin(0.01));  // beyond the frame counts as invalid
}

#if defined(__x86_64__)
TEST_CASE("The wide-vector variant gives the portable one's values to a millionth") {
    if (!hasAvx2()) return;
    std::mt19937 dice(11);
    std::lognormal_distribution<double> light(0, 1.5);
    for (const bool half : {false, true}) {
        auto plate = plateOf(
            96, 64, [&](double, double) { return light(dice); }, half);
        breakPixel(plate, 50, 30);
        std::uniform_real_distribution<float> x(-1, 97), y(-1, 65), octave(-0.5f, 4.2f);
        std::vector<SamplePoint> points(5000);
        for (auto& p : points)
            p = {x(dice), y(dice), std::exp2(octave(dice)), std::exp2(octave(dice))};
        std::vector<float> wide(points.size() * 4), portable(wide);
        for (const bool smooth : {false, true}) {
            resampleAvx2(plate, nullptr, smooth, points.data(), points.size(), wide.data());
            resamplePortable(plate, nullptr, smooth, points.data(), points.size(), portable.data());
            size_t apart = 0;
            for (size_t i = 0; i < wide.size(); ++i)
                apart += std::abs(wide[i] - portable[i]) > 2e-6f * (10 + std::abs(portable[i]));
            CHECK(apart < points.size() / 1000);  // a bound's decision may fall the other way
        }
    }
}
#endif
