// Rows of halves and floats, many values at a time. The processor's own conversion instructions are
// used where it has them (asked at run time); the results are those of picture.h, bit for bit.
#pragma once

#include <cstddef>
#include <cstdint>

namespace plateloom::io {

/// Round to nearest even; beyond 65504 becomes 65504, never infinity. NaN stays NaN. Returns how
/// many values were beyond, infinite ones among them.
size_t halvesFromFloats(const float* from, size_t count, uint16_t* to);
/// How many values are beyond half, and would be written as the largest that it holds.
[[nodiscard]] size_t beyondHalf(const float* values, size_t count);

void floatsFromHalves(const uint16_t* from, size_t count, float* to);

/// Whether the processor converts halves itself (F16C).
[[nodiscard]] bool hasF16c();

}  // namespace plateloom::io
