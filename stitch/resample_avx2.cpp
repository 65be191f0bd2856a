#if defined(__x86_64__)

#include <immintrin.h>

#include <cstdint>

#include "stitch/resample_loop.h"
#include "stitch/resample_variants.h"

namespace plateloom::stitch {

namespace {

// Two RGBA texels are one register of 8 floats.
inline __m256 loadPair(const uint16_t* at) {
    return _mm256_cvtph_ps(_mm_loadu_si128(reinterpret_cast<const __m128i*>(at)));
}
inline __m256 loadPair(const float* at) {
    return _mm256_loadu_ps(at);
}

inline __m128 low(__m256 pair) {
    return _mm256_castps256_ps128(pair);
}
inline __m128 high(__m256 pair) {
    return _mm256_extractf128_ps(pair, 1);
}

// Down the columns first: kPairs independent sums, the weights along x once at the end.
template <int kPairs, class Texel>
inline __m256 sumColumns(const Texel* corner, ptrdiff_t stride, int ny, const float* wx,
                         const float* wy) {
    __m256 column[kPairs];
    for (int i = 0; i < kPairs; ++i) column[i] = _mm256_setzero_ps();
    for (int j = 0; j < ny; ++j, corner += stride) {
        const __m256 w = _mm256_broadcast_ss(wy + j);
        for (int i = 0; i < kPairs; ++i)
            column[i] = _mm256_fmadd_ps(w, loadPair(corner + 8 * i), column[i]);
    }
    __m256 total = _mm256_setzero_ps();
    for (int i = 0; i < kPairs; ++i) {
        const __m256 w =
            _mm256_set_m128(_mm_broadcast_ss(wx + 2 * i + 1), _mm_broadcast_ss(wx + 2 * i));
        total = _mm256_fmadd_ps(w, column[i], total);
    }
    return total;
}

template <class Texel>
__m256 sumWide(const Texel* corner, ptrdiff_t stride, int pairs, int ny, const float* wx,
               const float* wy) {
    constexpr int kGroup = 8;
    __m256 total = _mm256_setzero_ps();
    int i = 0;
    for (; i + kGroup <= pairs; i += kGroup)
        total =
            _mm256_add_ps(total, sumColumns<kGroup>(corner + 8 * i, stride, ny, wx + 2 * i, wy));
    for (; i < pairs; ++i)
        total = _mm256_add_ps(total, sumColumns<1>(corner + 8 * i, stride, ny, wx + 2 * i, wy));
    return total;
}

struct Avx2Simd {
    static void texel(const uint16_t* at, float* rgba) {
        _mm_storeu_ps(rgba, _mm_cvtph_ps(_mm_loadl_epi64(reinterpret_cast<const __m128i*>(at))));
    }
    static void texel(const float* at, float* rgba) { _mm_storeu_ps(rgba, _mm_loadu_ps(at)); }

    static void interpolate(const float* a, const float* b, float t, int count, float* out) {
        const __m256 share = _mm256_set1_ps(t);
        for (int i = 0; i < count; i += 8) {
            const __m256 from = _mm256_loadu_ps(a + i);
            const __m256 change = _mm256_sub_ps(_mm256_loadu_ps(b + i), from);
            _mm256_store_ps(out + i, _mm256_fmadd_ps(share, change, from));
        }
    }

    template <class Texel>
    static void sum(const Texel* corner, ptrdiff_t stride, int nx, int ny, const float* wx,
                    const float* wy, float* rgba) {
        __m256 total;
        switch (nx / 2) {
            case 2:
                total = sumColumns<2>(corner, stride, ny, wx, wy);
                break;
            case 4:
                total = sumColumns<4>(corner, stride, ny, wx, wy);
                break;
            case 5:
                total = sumColumns<5>(corner, stride, ny, wx, wy);
                break;
            case 6:
                total = sumColumns<6>(corner, stride, ny, wx, wy);
                break;
            case 7:
                total = sumColumns<7>(corner, stride, ny, wx, wy);
                break;
            case 8:
                total = sumColumns<8>(corner, stride, ny, wx, wy);
                break;
            case 9:
                total = sumColumns<9>(corner, stride, ny, wx, wy);
                break;
            case 10:
                total = sumColumns<10>(corner, stride, ny, wx, wy);
                break;
            default:
                total = sumWide(corner, stride, nx / 2, ny, wx, wy);
        }
        _mm_storeu_ps(rgba, _mm_add_ps(low(total), high(total)));
    }

    template <class Texel>
    static Range range(const Texel* corner, ptrdiff_t stride, int nx, int ny) {
        __m256 least = loadPair(corner), most = least;
        for (int j = 0; j < ny; ++j, corner += stride)
            for (int i = 0; i < 4 * nx; i += 8) {
                const __m256 pair = loadPair(corner + i);
                least = _mm256_min_ps(least, pair);
                most = _mm256_max_ps(most, pair);
            }
        Range range;
        _mm_storeu_ps(range.low, _mm_min_ps(low(least), high(least)));
        _mm_storeu_ps(range.high, _mm_max_ps(low(most), high(most)));
        return range;
    }

    template <class Texel>
    static bool outOfRange(const Texel* corner, ptrdiff_t stride, const float* rgba) {
        const __m256 above = loadPair(corner), below = loadPair(corner + stride);
        const __m256 least = _mm256_min_ps(above, below), most = _mm256_max_ps(above, below);
        const __m128 value = _mm_loadu_ps(rgba);
        const __m128 floor =
            _mm_mul_ps(_mm_set1_ps(kBelowNearest), _mm_min_ps(low(least), high(least)));
        const __m128 ceiling =
            _mm_mul_ps(_mm_set1_ps(kAboveNearest), _mm_max_ps(low(most), high(most)));
        const __m128 out = _mm_or_ps(_mm_cmplt_ps(value, floor), _mm_cmpgt_ps(value, ceiling));
        return (_mm_movemask_ps(out) & 7) != 0;
    }
};

}  // namespace

void resampleAvx2(const io::PlatePixels& plate, bool smooth, const SamplePoint* points,
                  size_t count, float* rgba) {
    resamplePlate<Avx2Simd>(plate, smooth, points, count, rgba);
}

}  // namespace plateloom::stitch

#endif
