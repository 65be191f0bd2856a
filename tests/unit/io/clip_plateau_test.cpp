#include "io/clip_plateau.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <limits>
#include <random>

using namespace plateloom::io;

namespace {

constexpr int kWidth = 400, kHeight = 300;
constexpr float kNone = std::numeric_limits<float>::infinity();

using Value = std::function<float(int x, int y, int channel)>;

PlatePixels plate(bool half, const Value& value) {
    PlatePixels pixels;
    pixels.width = kWidth;
    pixels.height = kHeight;
    for (int y = 0; y < kHeight; ++y) {
        for (int x = 0; x < kWidth; ++x) {
            for (int c = 0; c < 4; ++c) {
                const float v = c == 3 ? 1.0f : value(x, y, c);
                half ? pixels.half.push_back(halfFromFloat(v)) : pixels.full.push_back(v);
            }
        }
    }
    return pixels;
}

/// A noisy scene with a lamp-like peak of `peak`, cut at `limit[c]`.
Value scene(float peak, std::array<float, 3> limit) {
    return [=, random = std::mt19937(2)](int x, int y, int c) mutable {
        std::normal_distribution<float> noise(1.0f, 0.02f);
        const float dx = float(x - 100) / 60, dy = float(y - 80) / 60;
        const float light = (0.05f + peak * std::exp(-dx * dx - dy * dy)) * noise(random);
        return std::min(light, limit[size_t(c)]);
    };
}

}  // namespace

TEST_CASE("A recording that clips shows its level; white-balanced channels, the lowest of theirs") {
    for (const bool half : {true, false}) {
        CHECK(findClipPlateau(plate(half, scene(4, {1, 1, 1}))) == 1.0f);
        CHECK(findClipPlateau(plate(half, scene(4, {2.5f, 1.25f, 1.75f}))) == 1.25f);
    }
}

TEST_CASE("A recording that clips nearly everywhere shows its level, too") {
    for (const bool half : {true, false})
        for (const float stops : {2.5f, 4.0f, 5.0f}) {
            // Textured walls in five bands of brightness, overexposed by so many stops.
            std::mt19937 random(5);
            std::normal_distribution<float> noise(1.0f, 0.3f);
            size_t clipped = 0;
            const PlatePixels pixels = plate(half, [&](int, int y, int c) {
                const float wall = 0.06f * std::exp2(float(y / (kHeight / 5)));
                const float value =
                    std::min(1.0f, std::exp2(stops) * wall * std::abs(noise(random)));
                clipped += c == 0 && value == 1;
                return value;
            });
            CAPTURE(half, stops, double(clipped) / (kWidth * kHeight));
            CHECK(2 * clipped > size_t(kWidth * kHeight));
            CHECK(findClipPlateau(pixels) == 1.0f);
        }
}

TEST_CASE("Fog that fills the frame has no level, although half has few values for it") {
    std::mt19937 random(3);
    std::normal_distribution<float> noise(0.0f, 0.0001f);
    const auto fog = [&](int x, int y, int) {
        const float dx = float(x - 200) / 200, dy = float(y - 150) / 150;
        return std::min(0.50049f, 0.5004f - 0.003f * (dx * dx + dy * dy) + noise(random)) -
               (y < 2 ? 0.1f : 0.0f);
    };
    CHECK(findClipPlateau(plate(true, fog)) == kNone);
}

TEST_CASE("A recording that does not clip has no level") {
    for (const bool half : {true, false}) {
        CHECK(findClipPlateau(plate(half, scene(4, {kNone, kNone, kNone}))) == kNone);
        // Smooth and without noise: in half very many pixels share the largest value.
        const Value smooth = [](int x, int y, int) {
            const float dx = float(x - 200) / 150, dy = float(y - 150) / 150;
            return 0.8f - 0.1f * (dx * dx + dy * dy);
        };
        CHECK(findClipPlateau(plate(half, smooth)) == kNone);
    }
}

TEST_CASE("Flat, black and negative pictures do not clip; a few equal pixels are no plateau") {
    for (const bool half : {true, false}) {
        CHECK(findClipPlateau(plate(half, [](int, int, int) { return 0.5f; })) == kNone);
        CHECK(findClipPlateau(plate(half, [](int, int, int) { return 0.0f; })) == kNone);
        CHECK(findClipPlateau(plate(half, [](int, int, int) { return -1.0f; })) == kNone);
        const Value few = [](int x, int y, int) { return y == 0 && x < 20 ? 9.0f : 0.1f; };
        CHECK(findClipPlateau(plate(half, few)) == kNone);
    }
}
