// Pictures in memory.
//
// `Picture` is plain float, channels interleaved, for whatever is small or passes through once.
// `PlatePixels` is a recorded plate as the compositor keeps it: R G B A interleaved, scene-linear,
// in half (8 bytes a pixel) when the file's own precision is no more than that, else in float.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

namespace plateloom::io {

struct Picture {
    int width = 0, height = 0, channels = 0;
    std::vector<float> data;  ///< row by row, top first

    Picture() = default;
    Picture(int w, int h, int c, float value = 0.0f)
        : width(w), height(h), channels(c), data(size_t(w) * h * c, value) {}
    [[nodiscard]] float* at(int x, int y) { return &data[(size_t(y) * width + x) * channels]; }
    [[nodiscard]] const float* at(int x, int y) const {
        return &data[(size_t(y) * width + x) * channels];
    }
};

struct PlatePixels {
    int width = 0, height = 0;
    /// Exactly one of the two is filled, 4 values a pixel, rows top first. A is the coverage, 0 to
    /// 1, and RGB is associated with it. A pixel without a sample is a hole: see io/hole.h.
    std::vector<uint16_t> half;  ///< IEEE 754 binary16 bits
    std::vector<float> full;

    /// Linear value at and above which the recording clips, per plate; infinity when nothing clips.
    float clip_level = 0;
    /// Pixels that were not finite in the file: holes, and infinite ones taken as the largest half.
    size_t bad_pixels = 0;

    [[nodiscard]] bool isHalf() const { return !half.empty(); }
    [[nodiscard]] size_t bytes() const { return half.size() * 2 + full.size() * 4; }
    /// The four values of pixel (x, y), which must be inside.
    void read(int x, int y, float rgba[4]) const;
};

/// IEEE 754 binary16 to float and back (round to nearest even; beyond 65504 becomes 65504, never
/// infinity).
[[nodiscard]] float floatFromHalf(uint16_t bits);
[[nodiscard]] uint16_t halfFromFloat(float value);

}  // namespace plateloom::io
