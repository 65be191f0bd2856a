// Where a plate holds no sample, and what is taken for a sample that is infinite.
//
// In memory A is the coverage, 0 to 1, and RGB is associated with it (multiplied by it). A hole,
// where the file holds no sample (NaN, minus infinity, or outside the data window of a picture
// without alpha), has RGB 0 and A = -0: a sum treats it as 0, and isHole tells it from a pixel that
// is known to be transparent.
#pragma once

#include <bit>
#include <cstdint>

namespace plateloom::io {

/// A of a pixel that holds no sample.
inline constexpr float kHole = -0.0f;
inline constexpr uint16_t kHalfHole = 0x8000;
[[nodiscard]] inline bool isHole(float alpha) {
    return std::bit_cast<uint32_t>(alpha) == std::bit_cast<uint32_t>(kHole);
}
[[nodiscard]] inline bool isHole(uint16_t half_alpha) {
    return half_alpha == kHalfHole;
}

/// What an infinite colour is taken as: the largest value that half holds.
inline constexpr float kBrightest = 65504.0f;
inline constexpr uint16_t kHalfBrightest = 0x7bff;

}  // namespace plateloom::io
