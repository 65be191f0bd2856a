#include "stitch/moving/take_light.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

using namespace plateloom::stitch;

namespace {

// What overlaps would give: gains against the mean of the cameras that are there.
std::vector<std::array<float, 3>> gainsFor(const std::vector<double>& exposure) {
    double mean = 0;
    for (const double e : exposure) mean += std::log(e) / double(exposure.size());
    std::vector<std::array<float, 3>> gains;
    for (const double e : exposure) {
        const auto gain = float(std::exp(mean) / e);
        gains.push_back({gain, gain, gain});
    }
    return gains;
}

// Largest change of a camera's brought-together light from frame to frame, in stops.
double largestStep(const CameraLight& light, const std::vector<double>& exposure, int first,
                   bool told) {
    double most = 0, before = 0;
    for (size_t i = 0; i < exposure.size(); ++i) {
        const auto stops = told ? std::optional<double>(std::log2(exposure[i])) : std::nullopt;
        const double now = std::log2(double(light.gainAt(first + int(i), stops)[1]) * exposure[i]);
        if (i > 0) most = std::max(most, std::abs(now - before));
        before = now;
    }
    return most;
}

}  // namespace

TEST_CASE(
    "An iris pull that the lens track tells is undone frame by frame, and moves no other camera") {
    TakeLight light(4);
    std::vector<double> pulled;
    for (int i = 0; i < 48; ++i) {
        const double e = i < 20 ? 1.0 : i < 26 ? std::exp2(-0.2 * (i - 19)) : std::exp2(-1.2);
        pulled.push_back(e);
        std::vector<std::optional<double>> stops;
        for (int c = 0; c < 4; ++c) stops.emplace_back(c == 2 ? std::log2(e) : 0.0);
        light.add(1001 + i, {0, 1, 2, 3}, gainsFor({1.1, 0.9, e, 1.05}), stops);
    }
    const auto found = light.finish();
    CHECK(largestStep(found[2], pulled, 1001, true) < 1e-4);
    CHECK(found[2].keys.size() == 1);
    CHECK(largestStep(found[0], std::vector<double>(48, 1.1), 1001, true) < 1e-4);
    const double ratio =
        double(found[0].gainAt(1001, 0.0)[0]) / double(found[1].gainAt(1001, 0.0)[0]);
    CHECK(ratio == Approx(0.9 / 1.1).epsilon(1e-3));
}

TEST_CASE("An exposure that drifts unsaid on one camera is followed there and nowhere else") {
    TakeLight light(5);
    std::mt19937 random(1);
    std::normal_distribution<double> noise(0, 0.002);
    std::vector<double> drifting;
    for (int i = 0; i < 60; ++i) {
        const double e = std::exp2(-0.01 * i);
        drifting.push_back(e);
        std::vector<double> all{1, 1, 1, e, 1};
        for (double& one : all) one *= std::exp(noise(random));
        light.add(i, {0, 1, 2, 3, 4}, gainsFor(all), std::vector<std::optional<double>>(5));
    }
    const auto found = light.finish();
    CHECK(largestStep(found[3], drifting, 0, false) < 0.004);
    CHECK(std::log2(double(found[3].gainAt(59, {})[0] / found[3].gainAt(0, {})[0])) ==
          Approx(0.59).margin(0.02));
    CHECK(std::abs(std::log2(double(found[0].gainAt(59, {})[0] / found[0].gainAt(0, {})[0]))) <
          0.01);
}

TEST_CASE("A camera that is away for some frames moves no gain") {
    TakeLight light(3);
    for (int i = 0; i < 30; ++i) {
        const std::vector<std::optional<double>> stops(3);
        if (i >= 10 && i < 15)
            light.add(i, {0, 2}, gainsFor({2.0, 0.5}), {stops[0], stops[1]});
        else
            light.add(i, {0, 1, 2}, gainsFor({2.0, 1.0, 0.5}), stops);
    }
    const auto found = light.finish();
    for (int c = 0; c < 3; ++c) CHECK(found[size_t(c)].keys.size() == 1);
    CHECK(double(found[2].gainAt(12, {})[0] / found[0].gainAt(12, {})[0]) ==
          Approx(4).epsilon(1e-4));
}

TEST_CASE("Between keys a gain goes evenly in stops, beyond them it stays") {
    CameraLight light;
    light.keys = {{10, {1, 1, 1}}, {20, {4, 1, 1}}};
    CHECK(double(light.gainAt(15, {})[0]) == Approx(2));
    CHECK(double(light.gainAt(0, {})[0]) == Approx(1));
    CHECK(double(light.gainAt(99, {})[0]) == Approx(4));
    light.known_stops = 1.0;
    CHECK(double(light.gainAt(0, 3.0)[0]) == Approx(0.25));
}
