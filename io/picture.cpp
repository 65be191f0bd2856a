#include "io/picture.h"

#include <Imath/half.h>

namespace plateloom::io {

float floatFromHalf(uint16_t bits) {
    return imath_half_to_float(bits);
}

uint16_t halfFromFloat(float value) {
    constexpr float kLargest = 65504.0f;
    if (value > kLargest) value = kLargest;
    if (value < -kLargest) value = -kLargest;
    return imath_float_to_half(value);
}

void PlatePixels::read(int x, int y, float rgba[4]) const {
    const size_t at = (size_t(y) * width + x) * 4;
    if (isHalf()) {
        for (int c = 0; c < 4; ++c) rgba[c] = floatFromHalf(half[at + c]);
    } else {
        for (int c = 0; c < 4; ++c) rgba[c] = full[at + c];
    }
}

}  // namespace plateloom::io
