#include "stitch/compose/exposure.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "calib/pose.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

// A soft, coloured sky over the sphere: nothing repeats, nothing is black.
std::array<double, 3> radiance(const calib::Vector3d& d) {
    const double base =
        1.2 + std::sin(3.1 * d.x() + 0.3) * std::cos(2.7 * d.y()) + 0.2 * std::sin(9 * d.z());
    return {0.3 * base, 0.2 * base + 0.05 * d.z(), 0.25 * base + 0.04 * d.x()};
}

io::PlatePixels record(const PlacedPlate& plate, const std::array<double, 3>& factor,
                       bool visitor) {
    const auto& s = plate.lens.sensor();
    io::PlatePixels pixels;
    pixels.width = s.width_px;
    pixels.height = s.height_px;
    pixels.clip_level = 1e9f;
    pixels.full.resize(size_t(s.width_px) * s.height_px * 4);
    for (int y = 0; y < s.height_px; ++y)
        for (int x = 0; x < s.width_px; ++x) {
            const calib::Vector2d px(x + 0.5, y + 0.5);
            auto light = radiance(plate.worldFromCamera * *plate.lens.rayFromRecorded(px));
            if (visitor && x > s.width_px * 2 / 3 && y > s.height_px / 2) light = {5, 5, 5};
            for (int c = 0; c < 3; ++c)
                pixels.full[(size_t(y) * s.width_px + x) * 4 + c] =
                    float(light[c] * factor[c] * plate.lens.transmission(px));
            pixels.full[(size_t(y) * s.width_px + x) * 4 + 3] = 1;
        }
    return pixels;
}

}  // namespace

TEST_CASE("A ratio ignores a fifth of samples that belong to something else") {
    std::mt19937 random(7);
    std::normal_distribution<double> noise(0.3, 0.02);
    std::vector<RatioSample> samples;
    for (int i = 0; i < 400; ++i) samples.push_back({noise(random), 1});
    for (int i = 0; i < 100; ++i) samples.push_back({2.0 + 0.01 * i, 1});
    const auto ratio = robustRatio(samples);
    REQUIRE(ratio);
    CHECK(ratio->log_ratio == Approx(0.3).margin(0.004));
}

TEST_CASE("Too few samples give no ratio") {
    CHECK_FALSE(robustRatio({{0.1, 1}, {0.2, 1}}));
}

TEST_CASE("Gains undo each plate's own exposure, shading and a visitor notwithstanding") {
    calib::Lens lens;
    lens.focal_mm = 24;
    lens.distortion.radial[0] = 2e-4;
    lens.shading.a1 = 9e-4;
    const calib::Sensor sensor{36, 20.25, 320, 180};
    const std::vector<std::array<double, 3>> factor{{1, 1, 1},        {1.3, 1.25, 1.2},
                                                    {0.8, 0.85, 0.9}, {0.5, 0.5, 0.52},
                                                    {1.9, 1.9, 1.9},  {1, 1.1, 1}};
    std::vector<PlacedPlate> plates;
    std::vector<io::PlatePixels> recorded;
    for (int i = 0; i < 6; ++i) {
        PlacedPlate plate{i,
                          calib::LensMap(lens, sensor),
                          calib::worldFromCamera({-30.0 * i, 3.0 * (i % 2), 0}),
                          {}};
        recorded.push_back(record(plate, factor[i], i == 2));
        plates.push_back(plate);
    }
    PlateStore store([&](int i) { return recorded[i]; });
    const auto gains = balanceExposure(plates, store, std::vector<std::optional<double>>(6)).gains;
    for (int c = 0; c < 3; ++c) {
        double product = 1;
        for (int i = 0; i < 6; ++i) product *= gains[i][c];
        CHECK(product == Approx(1).epsilon(1e-4));
        for (int i = 1; i < 6; ++i)
            CHECK(gains[i][c] * factor[i][c] == Approx(gains[0][c] * factor[0][c]).epsilon(0.002));
    }
}

TEST_CASE("Plates that overlap nothing keep their known exposure") {
    calib::Lens lens;
    lens.focal_mm = 50;
    const calib::Sensor sensor{36, 20.25, 160, 90};
    std::vector<PlacedPlate> plates;
    std::vector<io::PlatePixels> recorded;
    for (int i = 0; i < 2; ++i) {
        PlacedPlate plate{
            i, calib::LensMap(lens, sensor), calib::worldFromCamera({90.0 * i, 0, 0}), {}};
        recorded.push_back(record(plate, {1, 1, 1}, false));
        plates.push_back(plate);
    }
    PlateStore store([&](int i) { return recorded[i]; });
    const auto gains = balanceExposure(plates, store, {0.0, 1.0}).gains;
    CHECK(gains[0][1] / gains[1][1] == Approx(2.0));
}

TEST_CASE("A gain's uncertainty is as large as its error, over small plates with little overlap") {
    // A row all round of small, noisy plates that share a few columns of cells.
    calib::Lens lens;
    lens.focal_mm = 50;
    const calib::Sensor sensor{36, 20.25, 160, 90};
    double pulls2 = 0, count = 0;
    for (unsigned seed = 0; seed < 50; ++seed) {
        std::mt19937 random(seed);
        std::normal_distribution<double> unit(0, 1);
        std::vector<PlacedPlate> plates;
        std::vector<io::PlatePixels> recorded;
        std::vector<double> stops;
        double mean = 0;
        for (int i = 0; i < 12; ++i) {
            PlacedPlate plate{
                i, calib::LensMap(lens, sensor), calib::worldFromCamera({30.0 * i, 0, 0}), {}};
            stops.push_back(0.5 * unit(random));
            mean += stops.back() / 12;
            const double factor = std::exp2(stops.back());
            recorded.push_back(record(plate, {factor, factor, factor}, false));
            for (size_t v = 0; v < recorded.back().full.size(); ++v)
                if (v % 4 != 3) recorded.back().full[v] *= float(1 + 0.1 * unit(random));
            plates.push_back(plate);
        }
        PlateStore store([&](int i) { return recorded[size_t(i)]; });
        const auto balance = balanceExposure(plates, store, std::vector<std::optional<double>>(12));
        for (size_t i = 0; i < 12; ++i)
            for (size_t c = 0; c < 3; ++c) {
                const double error = std::log2(double(balance.gains[i][c])) + stops[i] - mean;
                pulls2 += std::pow(error / balance.sigma_stops[i], 2);
                ++count;
            }
    }
    // sigma_stops is the worst of three channels', so the pull is somewhat below 1.
    CHECK(std::sqrt(pulls2 / count) < 1.2);
    CHECK(std::sqrt(pulls2 / count) > 0.5);
}

TEST_CASE("The variance of a ratio is that of its samples' mean, and wider for a few samples") {
    std::mt19937 random(5);
    std::normal_distribution<double> noise(0, 0.02);
    std::vector<RatioSample> many;
    for (int i = 0; i < 2000; ++i) many.push_back({noise(random), 1});
    CHECK(robustRatio(many)->variance == Approx(0.02 * 0.02 / 2000).epsilon(0.15));
    double mean = 0;
    for (int set = 0; set < 200; ++set) {
        const std::vector<RatioSample> ten(many.begin() + 10 * set, many.begin() + 10 * set + 10);
        mean += robustRatio(ten)->variance / 200;
    }
    CHECK(mean > 0.02 * 0.02 / 10);
}
