#include "io/half_rows.h"

#include <cmath>

#include "io/hole.h"
#include "io/picture.h"

#if defined(__x86_64__)
#include <cpuid.h>
#include <immintrin.h>
#endif

namespace plateloom::io {

namespace {

#if defined(__x86_64__)
// 8 values a step: 32 bytes in, 16 out; bound by memory, not by arithmetic.
__attribute__((target("avx,f16c"))) size_t halvesFromFloatsF16c(const float* from, size_t count,
                                                                uint16_t* to) {
    const __m256 largest = _mm256_set1_ps(65504.0f), smallest = _mm256_set1_ps(-65504.0f);
    size_t i = 0;
    for (; i + 8 <= count; i += 8) {
        // min and max hand their second operand on when either is NaN: the value itself.
        __m256 value = _mm256_loadu_ps(from + i);
        value = _mm256_max_ps(smallest, _mm256_min_ps(largest, value));
        _mm_storeu_si128(reinterpret_cast<__m128i*>(to + i),
                         _mm256_cvtps_ph(value, _MM_FROUND_TO_NEAREST_INT | _MM_FROUND_NO_EXC));
    }
    return i;
}

__attribute__((target("avx,f16c"))) size_t floatsFromHalvesF16c(const uint16_t* from, size_t count,
                                                                float* to) {
    size_t i = 0;
    for (; i + 8 <= count; i += 8) {
        const __m128i bits = _mm_loadu_si128(reinterpret_cast<const __m128i*>(from + i));
        _mm256_storeu_ps(to + i, _mm256_cvtph_ps(bits));
    }
    return i;
}

#endif

}  // namespace

bool hasF16c() {
#if defined(__x86_64__)
    // clang 14 knows no __builtin_cpu_supports("f16c"). Only "avx" asks the operating system too.
    static const bool has = [] {
        unsigned a = 0, b = 0, c = 0, d = 0;
        return __builtin_cpu_supports("avx") && __get_cpuid(1, &a, &b, &c, &d) && (c & bit_F16C);
    }();
    return has;
#else
    return false;
#endif
}

size_t beyondHalf(const float* values, size_t count) {
    size_t beyond = 0;
    for (size_t i = 0; i < count; ++i) beyond += std::abs(values[i]) > kBrightest ? 1 : 0;
    return beyond;
}

size_t halvesFromFloats(const float* from, size_t count, uint16_t* to) {
    size_t done = 0;
#if defined(__x86_64__)
    if (hasF16c()) done = halvesFromFloatsF16c(from, count, to);
#endif
    for (; done < count; ++done) to[done] = halfFromFloat(from[done]);
    return beyondHalf(from, count);
}

void floatsFromHalves(const uint16_t* from, size_t count, float* to) {
    size_t done = 0;
#if defined(__x86_64__)
    if (hasF16c()) done = floatsFromHalvesF16c(from, count, to);
#endif
    for (; done < count; ++done) to[done] = floatFromHalf(from[done]);
}

}  // namespace plateloom::io
