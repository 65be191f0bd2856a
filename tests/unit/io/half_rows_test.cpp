#include "io/half_rows.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <cstring>
#include <limits>
#include <random>
#include <vector>

#include "io/picture.h"

using namespace plateloom::io;

TEST_CASE("Every half becomes a float and the same half again") {
    std::vector<uint16_t> halves(65536), back(65536);
    for (size_t i = 0; i < halves.size(); ++i) halves[i] = uint16_t(i);
    std::vector<float> floats(65536);
    floatsFromHalves(halves.data(), halves.size(), floats.data());
    halvesFromFloats(floats.data(), floats.size(), back.data());
    int unlike = 0, unlike_single = 0;
    for (size_t i = 0; i < halves.size(); ++i) {
        const bool infinite = (halves[i] & 0x7fff) == 0x7c00, nan = (halves[i] & 0x7fff) > 0x7c00;
        if (nan) {
            unlike += !std::isnan(floats[i]) || !std::isnan(floatFromHalf(back[i]));
        } else {
            unlike += back[i] != (infinite ? (halves[i] & 0x8000) | 0x7bff : halves[i]);
            unlike_single += floats[i] != floatFromHalf(halves[i]);
        }
    }
    CHECK(unlike == 0);
    CHECK(unlike_single == 0);
}

TEST_CASE("Rows of floats become the halves that single values become") {
    std::mt19937 random(7);
    std::uniform_int_distribution<uint32_t> bits;
    std::vector<float> floats(100003);
    for (float& value : floats) {
        const uint32_t pattern = bits(random);
        std::memcpy(&value, &pattern, sizeof value);
        // Nearly all bit patterns lie outside of what half holds: bring most of them in.
        if (pattern % 8 && std::isfinite(value)) {
            int exponent = 0;
            value = std::ldexp(std::frexp(value, &exponent), int(pattern % 40) - 26);
        }
    }
    // Ties, the borders of the range, and what is beyond them.
    const float special[] = {1.0f + 0x1p-11f,
                             1.0f + 0x3p-11f,
                             65504.0f,
                             65519.9f,
                             65520.0f,
                             1e9f,
                             -1e9f,
                             0x1p-24f,
                             0x1p-25f,
                             0x1.8p-25f,
                             -0.0f,
                             std::numeric_limits<float>::infinity(),
                             -std::numeric_limits<float>::infinity()};
    std::copy(std::begin(special), std::end(special), floats.begin());
    std::vector<uint16_t> halves(floats.size());
    halvesFromFloats(floats.data(), floats.size(), halves.data());
    int unlike = 0, infinite = 0;
    for (size_t i = 0; i < floats.size(); ++i) {
        if (std::isnan(floats[i])) {
            unlike += !std::isnan(floatFromHalf(halves[i]));
        } else {
            unlike += halves[i] != halfFromFloat(floats[i]);
            infinite += std::isinf(floatFromHalf(halves[i]));
        }
    }
    CHECK(unlike == 0);
    CHECK(infinite == 0);
    CHECK(halfFromFloat(1.0f + 0x1p-11f) == 0x3c00);  // a tie goes to the even one
    CHECK(halfFromFloat(1.0f + 0x3p-11f) == 0x3c02);
}
