// Texture that never repeats: value noise on a lattice of hashed numbers. The same place in the
// world gives the same number from every camera, in every build and on every machine.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>

namespace plateloom::world {

/// A well-mixed 32-bit number from two lattice coordinates and a seed (multiply and xor-shift, in
/// the manner of Jarzynski and Olano, Hash Functions for GPU Rendering, JCGT 9(3), 2020).
[[nodiscard]] inline uint32_t hash(uint32_t x, uint32_t y, uint32_t seed) {
    uint32_t h = x * 0x9E3779B1u ^ (y * 0x85EBCA77u + 0x165667B1u) ^ seed * 0xC2B2AE3Du;
    h ^= h >> 15;
    h *= 0x2C1B3C6Du;
    h ^= h >> 12;
    h *= 0x297A2D39u;
    h ^= h >> 15;
    return h;
}

/// [0, 1) from a hash.
[[nodiscard]] inline float unit(uint32_t h) {
    return float(h >> 8) * (1.0f / 16777216.0f);
}

/// A stream of numbers for laying things out: the same seed, the same town.
class Dice {
public:
    explicit Dice(uint32_t seed) : seed_(seed) {}
    float between(float low, float high) { return low + (high - low) * unit(hash(n_++, 7, seed_)); }
    int below(int count) { return int(between(0, float(count))); }

private:
    uint32_t seed_, n_ = 0;
};

/// floor, without the library call that it is on machines without SSE4.1.
[[nodiscard]] inline int32_t wholeBelow(float x) {
    const int32_t cut = int32_t(x);
    return cut - (x < float(cut));
}

/// Smooth noise in [-1, 1], one feature about one unit wide; quintic between lattice points, so the
/// second derivative is continuous.
[[nodiscard]] inline float valueNoise(float x, float y, uint32_t seed) {
    const int32_t lx = wholeBelow(x), ly = wholeBelow(y);
    const uint32_t ix = uint32_t(lx), iy = uint32_t(ly);
    const float u = x - float(lx), v = y - float(ly);
    const float su = u * u * u * (u * (u * 6 - 15) + 10), sv = v * v * v * (v * (v * 6 - 15) + 10);
    const float a = unit(hash(ix, iy, seed)), b = unit(hash(ix + 1, iy, seed));
    const float c = unit(hash(ix, iy + 1, seed)), d = unit(hash(ix + 1, iy + 1, seed));
    return 2.0f * (a + su * (b - a) + sv * (c - a) + su * sv * (a - b - c + d)) - 1.0f;
}

/// Eight octaves of value noise at one place: each half as wide as the one before, its lattice
/// turned by 36.9 degrees and moved, so that no axis shows. Each in [-1, 1].
constexpr int kOctaves = 8;
using OctaveValues = std::array<float, kOctaves>;
[[nodiscard]] OctaveValues octaveValues(float x, float y, uint32_t seed);

/// The first `count` octaves, each `fade` times as strong as the one before. About [-1, 1].
[[nodiscard]] float octaves(float x, float y, int count, float fade, uint32_t seed);

/// 0 below `low`, 1 above `high`, smooth between.
[[nodiscard]] inline float ramp(float low, float high, float x) {
    const float t = std::min(1.0f, std::max(0.0f, (x - low) / (high - low)));
    return t * t * (3 - 2 * t);
}

}  // namespace plateloom::world
