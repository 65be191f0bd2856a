// What bright_light.h states: light far above its surroundings keeps its energy and makes no rings.
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <limits>
#include <random>

#include "stitch/resample/bright_light.h"
#include "stitch/resample/resample.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

using Light = std::function<double(int x, int y)>;
constexpr int kSize = 176;

io::PlatePixels plateOf(const Light& light, bool half, const Light& alpha = {}) {
    io::PlatePixels plate;
    plate.width = plate.height = kSize;
    plate.clip_level = std::numeric_limits<float>::infinity();
    for (int y = 0; y < kSize; ++y)
        for (int x = 0; x < kSize; ++x) {
            const double a = alpha ? alpha(x, y) : 1, v = light(x, y) * a;
            for (const double value : {v, v, v, a})
                if (half)
                    plate.half.push_back(io::halfFromFloat(float(value)));
                else
                    plate.full.push_back(float(value));
        }
    return plate;
}

struct Filtered {
    std::vector<SamplePoint> points;
    std::vector<float> rgba;
    bool split = false;
};

// The whole plate at `scale` plate pixels an output pixel, the grid moved by `shift` of those.
Filtered filter(io::PlatePixels plate, double scale, double shift) {
    Filtered out;
    const auto bright = findBright(plate, scale);
    out.split = bright != nullptr;
    const double wide = std::max(1.0, scale);
    for (double y = 4 + std::fmod(3.7 * shift, 1) * scale; y < kSize - 4; y += scale)
        for (double x = 4 + shift * scale; x < kSize - 4; x += scale)
            out.points.push_back({float(x), float(y), float(wide), float(wide)});
    out.rgba.resize(out.points.size() * 4);
    resample(plate, bright.get(), out.points.data(), out.points.size(), out.rgba.data());
    return out;
}

}  // namespace

TEST_CASE("A lamp keeps its energy, and its surroundings their light, at any scale", "[lamp]") {
    const double scale = GENERATE(0.5, 1.0, 1.37, 2.6, 4.0);
    const double contrast = GENERATE(10.0, 400.0, 1e5);
    const int side = GENERATE(1, 2, 5, 16);
    CAPTURE(scale, contrast, side);
    const int first = (kSize - side) / 2;
    const double middle = first + 0.5 * side;
    const auto inside = [=](int at) { return at >= first && at < first + side; };
    const auto plate = plateOf(
        [=](int x, int y) { return inside(x) && inside(y) ? contrast : 1.0; }, contrast < 6e4);
    double worst = 0, low = 1, high = 1, peak = 0;
    for (int phase = 0; phase < (scale < 1 ? 3 : 10); ++phase) {
        const auto out = filter(plate, scale, 0.1 * phase);
        double energy = 0;
        for (size_t i = 0; i < out.points.size(); ++i) {
            const double value = out.rgba[4 * i];
            const double x = std::abs(out.points[i].x - middle) - 0.5 * side;
            const double y = std::abs(out.points[i].y - middle) - 0.5 * side;
            energy += (value - 1) * scale * scale;
            peak = std::max(peak, value / contrast);
            if (std::max(x, y) < 2 * std::max(1.0, scale)) continue;
            low = std::min(low, value);
            high = std::max(high, value);
        }
        worst = std::max(worst, std::abs(energy / ((contrast - 1) * side * side) - 1));
    }
    CHECK(worst < 0.01);
    CHECK(low > 0.98);
    CHECK(high < 1.02);
    CHECK(peak < 1.08);
}

TEST_CASE("A large lamp is even, and beyond its edge too", "[lamp]") {
    const double contrast = GENERATE(10.0, 400.0, 30000.0);
    const auto plate =
        plateOf([=](int x, int y) { return x >= 88 && y >= 60 ? contrast : 1.0; }, true);
    const auto out = filter(plate, 1, 0.3);
    for (size_t i = 0; i < out.points.size(); ++i) {
        const double x = out.points[i].x - 88, y = out.points[i].y - 60;
        if (std::min(x, y) > 2) CHECK(out.rgba[4 * i] == Approx(contrast).epsilon(0.05));
    }
}

TEST_CASE("Noisy blacks beside lamps are never darker than the noise itself", "[lamp]") {
    std::mt19937 dice(3);
    std::normal_distribution<double> black(0.002, 0.004);
    double darkest = 1;
    const auto plate = plateOf(
        [&](int x, int y) {
            if (x % 44 >= 19 && x % 44 < 25 && y % 44 >= 19 && y % 44 < 25) return 400.0;
            const double value = black(dice);
            darkest = std::min(darkest, value);
            return value;
        },
        true);
    for (const double scale : {0.7, 1.0, 1.6}) {
        const auto out = filter(plate, scale, 0.2);
        CHECK(out.split);
        for (size_t i = 0; i < out.points.size(); ++i)
            if (out.rgba[4 * i] < darkest) FAIL(out.rgba[4 * i] << " at " << out.points[i].x);
    }
}

TEST_CASE("A dark line before a bright sky does not turn negative", "[lamp]") {
    const int wide = GENERATE(1, 2, 3, 5);
    const auto plate =
        plateOf([=](int x, int) { return x >= 88 && x < 88 + wide ? 0.01 : 1.0; }, false);
    const auto out = filter(plate, 1, 0.3);
    for (size_t i = 0; i < out.points.size(); ++i) {
        const float value = out.rgba[4 * i];
        if (value < 0.0f || value > 1.12f) FAIL(value << " at " << out.points[i].x);
    }
}

TEST_CASE("Ordinary contrast is left to the sinc", "[lamp]") {
    std::mt19937 dice(5);
    std::uniform_real_distribution<double> grain(0.9, 1.1);
    const auto sine = [](double period, double amplitude) {
        return [=](int x, int y) {
            const double w = 6.283185307179586 / period;
            return 0.5 + amplitude * (std::sin(w * (x + 0.2)) + std::sin(w * (y + 0.3)));
        };
    };
    CHECK_FALSE(filter(plateOf(sine(4, 0.2), false), 1, 0).split);
    CHECK_FALSE(filter(plateOf(sine(11, 0.25), false), 1, 0).split);  // its trough touches 0
    CHECK_FALSE(filter(plateOf([](int x, int) { return x < 88 ? 1.0 : 5.5; }, false), 1, 0).split);
    CHECK_FALSE(
        filter(plateOf([&](int x, int y) { return ((x / 9 + y / 7) % 2 ? 1 : 6) * grain(dice); },
                       true),
               1.3, 0)
            .split);
}

TEST_CASE("A constant colour is not split under any alpha", "[lamp][alpha]") {
    const auto matte = [](int x, int y) { return std::hypot(x - 88, y - 88) < 40 ? 1.0 : 0.0; };
    CHECK_FALSE(filter(plateOf([](int, int) { return 0.5; }, true, matte), 1, 0).split);
    const auto ramp = [](int x, int) { return std::clamp((x - 60) / 50.0, 0.0, 1.0); };
    CHECK_FALSE(filter(plateOf([](int, int) { return 0.5; }, true, ramp), 1, 0).split);
}

TEST_CASE("Taken out of a plate, the bright part leaves one without rings to show", "[lamp]") {
    for (const bool half : {false, true}) {
        const auto plate = plateOf(
            [](int x, int y) { return std::hypot(x - 80, y - 90) < 30 ? 800 + 3.0 * x : 0.5; },
            half);
        const auto bright = findBright(plate, 1);
        REQUIRE(bright);
        std::vector<float> rest;
        for (int y = 0; y < kSize; ++y)
            for (int x = 0; x < kSize; ++x) {
                float rgba[4];
                plate.read(x, y, rgba);
                rest.insert(rest.end(), rgba, rgba + 4);
            }
        bright->subtract(0, 0, kSize, kSize, rest.data());
        for (int i = 4; i < kSize * kSize * 4; i += 4) {
            CHECK(rest[size_t(i)] >= 0.49f);
            if (i % (kSize * 4) == 0) continue;
            const float ratio = rest[size_t(i)] / rest[size_t(i - 4)];
            if (ratio > 1.9f || ratio < 1 / 1.9f) FAIL(ratio << " at " << i / 4);
        }
        CHECK(rest[(90 * kSize + 80) * 4] == Approx(800 + 240).epsilon(1e-3));
    }
}
