#include "world/noise.h"

#include <cassert>

// Eight octaves side by side in vector registers. The same operations in the same order whatever
// the machine has, so the same values; sanitizers do not like functions chosen at load time.
#if defined(__x86_64__) && !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
#define PLATELOOM_WIDE __attribute__((target_clones("avx2", "default")))
#else
#define PLATELOOM_WIDE
#endif

namespace plateloom::world {

namespace {

// Octave i sees the place (a x - b y + c, b x + a y + d): (a + bi) is ((1.6 + 1.2i))^i, twice as
// fine and turned each time.
struct Turns {
    OctaveValues a{}, b{}, c{}, d{};
    constexpr Turns() {
        double re = 1, im = 0;
        for (size_t i = 0; i < kOctaves; ++i) {
            a[i] = float(re);
            b[i] = float(im);
            c[i] = float(5.1 * double(i * i));
            d[i] = float(17.3 * double(i));
            const double next = re * 1.6 - im * 1.2;
            im = re * 1.2 + im * 1.6;
            re = next;
        }
    }
};
constexpr Turns kTurns;

}  // namespace

PLATELOOM_WIDE OctaveValues octaveValues(float x, float y, uint32_t seed) {
    OctaveValues values;
    for (size_t i = 0; i < kOctaves; ++i) {
        const float px = kTurns.a[i] * x - kTurns.b[i] * y + kTurns.c[i];
        const float py = kTurns.b[i] * x + kTurns.a[i] * y + kTurns.d[i];
        values[i] = valueNoise(px, py, seed + uint32_t(i) * 101u);
    }
    return values;
}

float octaves(float x, float y, int count, float fade, uint32_t seed) {
    assert(count > 0 && count <= kOctaves);
    const OctaveValues values = octaveValues(x, y, seed);
    float sum = 0, weight = 1, total = 0;
    for (size_t i = 0; i < size_t(count); ++i) {
        sum += weight * values[i];
        total += weight;
        weight *= fade;
    }
    return sum / total;
}

}  // namespace plateloom::world
