#include "io/clip_plateau.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "io/half_rows.h"

namespace plateloom::io {

namespace {

constexpr size_t kFewestPixels = 32;
constexpr double kLeastShare = 0.0002;
// A plateau of more than this must stand out, see clip_plateau.h.
constexpr double kLargeShare = 0.5, kNearOfLarge = 0.1;
constexpr float kJustBelow = 0.97f;

// The bits of a half, read as a signed number, order as the values do above zero, and are negative
// below it: so the largest is found without converting anything.
int16_t ordered(uint16_t half) {
    return static_cast<int16_t>(half);
}
float ordered(float value) {
    return value;
}

template <typename Sample>
using Ordered = decltype(ordered(Sample()));

template <typename Sample>
std::array<Ordered<Sample>, 4> largestOf(const std::vector<Sample>& rgba) {
    std::array<Ordered<Sample>, 4> largest{};  // nothing below zero clips
    for (size_t i = 0; i + 3 < rgba.size(); i += 4) {
        for (size_t c = 0; c < 4; ++c) largest[c] = std::max(largest[c], ordered(rgba[i + c]));
    }
    return largest;
}

template <typename Sample>
float plateau(const std::vector<Sample>& rgba, size_t channel, Ordered<Sample> largest,
              Ordered<Sample> just_below) {
    size_t at = 0, near = 0;
    for (size_t i = channel; i < rgba.size(); i += 4) {
        const auto value = ordered(rgba[i]);
        at += value == largest;
        near += value > just_below && value < largest;
    }
    const size_t total = rgba.size() / 4, below = total - at - near;
    const auto enough = [total](size_t pixels) {
        return pixels >= kFewestPixels && double(pixels) >= kLeastShare * double(total);
    };
    const bool large = double(at) > kLargeShare * double(total);
    const bool stands_out = large ? double(near) < kNearOfLarge * double(at) : at > near;
    if (!enough(at) || !enough(below) || !stands_out) return std::numeric_limits<float>::infinity();
    if constexpr (sizeof(Sample) == 2) return floatFromHalf(static_cast<uint16_t>(largest));
    return float(largest);
}

}  // namespace

float findClipPlateau(const PlatePixels& pixels) {
    float lowest = std::numeric_limits<float>::infinity();
    if (pixels.isHalf()) {
        const auto largest = largestOf(pixels.half);
        for (size_t c = 0; c < 3; ++c) {
            const float value = floatFromHalf(static_cast<uint16_t>(largest[c]));
            if (!(value > 0)) continue;
            const auto below = ordered(halfFromFloat(kJustBelow * value));
            lowest = std::min(lowest, plateau(pixels.half, c, largest[c], below));
        }
    } else {
        const auto largest = largestOf(pixels.full);
        for (size_t c = 0; c < 3; ++c) {
            if (!(largest[c] > 0)) continue;
            lowest = std::min(lowest, plateau(pixels.full, c, largest[c], kJustBelow * largest[c]));
        }
    }
    return lowest;
}

}  // namespace plateloom::io
