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
    const auto gains = balanceExposure(plates, store, std::vector<std::optional<double>>(6));
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
    const auto gains = balanceExposure(plates, store, {0.0, 1.0});
    CHECK(gains[0][1] / gains[1][1] == Approx(2.0));
}
