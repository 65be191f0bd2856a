// Colour and alpha go through one filter and one bound.
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <limits>

#include "io/hole.h"
#include "stitch/resample/resample.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

using Alpha = std::function<double(double x, double y)>;
constexpr int kWidth = 96, kHeight = 64;

// One colour, associated with `alpha`.
io::PlatePixels coveredPlate(const Alpha& alpha, bool half, double colour = 0.5) {
    io::PlatePixels plate;
    plate.width = kWidth;
    plate.height = kHeight;
    plate.clip_level = std::numeric_limits<float>::infinity();
    for (int y = 0; y < kHeight; ++y)
        for (int x = 0; x < kWidth; ++x) {
            const double a = alpha(x + 0.5, y + 0.5);
            for (const double value : {colour * a, 0.5 * colour * a, 2 * colour * a, a})
                if (half)
                    plate.half.push_back(io::halfFromFloat(float(value)));
                else
                    plate.full.push_back(float(value));
        }
    return plate;
}

std::array<float, 4> at(const io::PlatePixels& plate, double x, double y, double scale) {
    const SamplePoint point{float(x), float(y), float(scale), float(scale)};
    std::array<float, 4> rgba;
    resample(plate, nullptr, &point, 1, rgba.data());
    return rgba;
}

double ramp(double x, double) {
    return std::clamp((x - 20) / 40, 0.0, 1.0);
}
double hardMatte(double x, double y) {
    return std::hypot(x - 48, y - 32) < 17 ? 1 : 0;
}
double thinVeil(double x, double y) {
    return 0.05 + 0.04 * std::sin(0.7 * x + 0.3 * y);
}

}  // namespace

TEST_CASE("A constant colour stays that colour under any alpha, at any scale", "[alpha]") {
    for (const Alpha& alpha : {Alpha(ramp), Alpha(hardMatte), Alpha(thinVeil)})
        for (const bool half : {false, true})
            for (const double scale : {1.0, 1.3, 2.6, 6.0}) {
                const auto plate = coveredPlate(alpha, half);
                double worst = 0;
                for (double y = 0.3; y < kHeight; y += 1.37)
                    for (double x = 0.2; x < kWidth; x += 0.61) {
                        const auto rgba = at(plate, x, y, scale);
                        REQUIRE(rgba[3] >= 0);
                        REQUIRE(rgba[3] <= 1);
                        // Half's steps of 1 in 2048 are in the samples themselves.
                        if (rgba[3] < 0.001f) {
                            CHECK(std::abs(rgba[0]) < 0.001f);
                            continue;
                        }
                        worst = std::max(worst, std::abs(rgba[0] / rgba[3] / 0.5 - 1));
                        worst = std::max(worst, std::abs(rgba[2] / rgba[3] / 1.0 - 1));
                    }
                INFO("half " << half << ", scale " << scale);
                CHECK(worst < (half ? 0.001 : 2e-5));
            }
}

TEST_CASE("An alpha ramp comes out as it is", "[alpha]") {
    const auto plate = coveredPlate(ramp, false);
    double worst = 0;
    for (double x = 26; x < 54; x += 0.37)
        worst = std::max(worst, std::abs(at(plate, x, 31.4, 1)[3] - ramp(x, 0)));
    CHECK(worst < 1e-4);
}

TEST_CASE("Two pixels and more inside a hard matte alpha is 1, outside 0", "[alpha]") {
    const auto plate = coveredPlate([](double x, double) { return x < 48 ? 1.0 : 0.0; }, false);
    for (double x = 30; x < 66; x += 0.17) {
        const auto rgba = at(plate, x, 31.4, 1);
        if (x < 45.9) {
            CHECK(rgba[0] == Approx(0.5).epsilon(1e-6));
            CHECK(rgba[3] == Approx(1).epsilon(1e-6));
        }
        if (x > 50.1) CHECK(rgba == std::array<float, 4>{0, 0, 0, 0});
    }
    CHECK(at(plate, 48, 31.4, 1)[3] == Approx(0.5).margin(1e-4));
}

TEST_CASE("A hole is left out where a picture is half transparent too", "[alpha]") {
    auto plate = coveredPlate([](double, double) { return 0.25; }, false);
    const size_t hole = (size_t(32) * kWidth + 40) * 4;
    std::fill_n(&plate.full[hole], 3, 0.0f);
    plate.full[hole + 3] = io::kHole;
    CHECK(at(plate, 40.5, 32.5, 1) == std::array<float, 4>{0, 0, 0, 0});
    for (const double x : {38.7, 41.2, 43.9}) {
        CHECK(at(plate, x, 32.1, 1)[3] == Approx(0.25).epsilon(1e-5));
        CHECK(at(plate, x, 32.1, 1)[0] == Approx(0.125).epsilon(1e-5));
    }
}

TEST_CASE("Light where nothing covers stays, as a compositor's glow", "[alpha]") {
    auto plate = coveredPlate([](double, double) { return 0.0; }, false);
    for (size_t i = 0; i < plate.full.size(); i += 4) plate.full[i] = 0.75f;
    const auto rgba = at(plate, 40.3, 30.9, 1);
    CHECK(rgba[0] == Approx(0.75));
    CHECK(rgba[1] == 0);
    CHECK(rgba[3] == 0);
}
