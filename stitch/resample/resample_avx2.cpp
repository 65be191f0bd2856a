#if defined(__x86_64__)

#include <immintrin.h>

#include <cstdint>
#include <utility>

#include "stitch/resample/resample_loop.h"
#include "stitch/resample/resample_variants.h"

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

// Down the columns first: sums for each pair of columns, the weights along x once at the end. Every
// second row goes to a second set of sums, so that no addition waits for the one before. Written
// out by the compiler from constant indices, so that the sums stay in registers.
template <class Texel, size_t... Pair>
inline __m256 sumColumns(const Texel* corner, ptrdiff_t stride, int ny, const float* wx,
                         const float* wy, std::index_sequence<Pair...>) {
    __m256 even[] = {((void)Pair, _mm256_setzero_ps())...};
    __m256 odd[] = {((void)Pair, _mm256_setzero_ps())...};
    for (int j = 0; j < ny; j += 2, corner += 2 * stride) {  // ny is even
        const __m256 w = _mm256_broadcast_ss(wy + j), w_next = _mm256_broadcast_ss(wy + j + 1);
        ((even[Pair] = _mm256_fmadd_ps(w, loadPair(corner + 8 * Pair), even[Pair])), ...);
        ((odd[Pair] = _mm256_fmadd_ps(w_next, loadPair(corner + stride + 8 * Pair), odd[Pair])),
         ...);
    }
    const auto weighed = [&](size_t pair) {
        return _mm256_mul_ps(
            _mm256_set_m128(_mm_broadcast_ss(wx + 2 * pair + 1), _mm_broadcast_ss(wx + 2 * pair)),
            _mm256_add_ps(even[pair], odd[pair]));
    };
    __m256 total = _mm256_setzero_ps();
    ((total = _mm256_add_ps(total, weighed(Pair))), ...);
    return total;
}

template <int kPairs, class Texel>
inline __m256 sumPairs(const Texel* corner, ptrdiff_t stride, int ny, const float* wx,
                       const float* wy) {
    return sumColumns(corner, stride, ny, wx, wy, std::make_index_sequence<kPairs>());
}

template <class Texel>
__m256 sumWide(const Texel* corner, ptrdiff_t stride, int pairs, int ny, const float* wx,
               const float* wy) {
    constexpr int kGroup = 8;
    __m256 total = _mm256_setzero_ps();
    int i = 0;
    for (; i + kGroup <= pairs; i += kGroup)
        total = _mm256_add_ps(total, sumPairs<kGroup>(corner + 8 * i, stride, ny, wx + 2 * i, wy));
    for (; i < pairs; ++i)
        total = _mm256_add_ps(total, sumPairs<1>(corner + 8 * i, stride, ny, wx + 2 * i, wy));
    return total;
}

inline void store(int* to, __m256i values) {
    _mm256_store_si256(reinterpret_cast<__m256i*>(to), values);
}

struct Avx2Simd {
    static void texel(const uint16_t* at, float* rgba) {
        _mm_storeu_ps(rgba, _mm_cvtph_ps(_mm_loadl_epi64(reinterpret_cast<const __m128i*>(at))));
    }
    static void texel(const float* at, float* rgba) { _mm_storeu_ps(rgba, _mm_loadu_ps(at)); }

    // Half texels stay half: turning them to float costs nothing beside the sums.
    template <class Texel>
    using Near = Texel;
    template <class Texel>
    static void copyRow(const Texel* from, ptrdiff_t values, Texel* to) {
        std::copy_n(from, values, to);
    }

    static void place(Places& at) {
        for (size_t k = 0; k < Places::kCount; k += 8) {
            // The order of the operands sends what is not a number to 0.
            const __m256 position =
                _mm256_max_ps(_mm256_load_ps(at.position + k), _mm256_setzero_ps());
            const __m256 u = _mm256_sub_ps(
                _mm256_min_ps(position, _mm256_set1_ps(Places::kFarthest)), _mm256_set1_ps(0.5f));
            const __m256 base = _mm256_floor_ps(u);
            const __m256 fraction = _mm256_sub_ps(u, base);
            const __m256 phase = _mm256_mul_ps(fraction, _mm256_set1_ps(FilterBank::kPhases));
            const __m256i whole = _mm256_min_epi32(_mm256_cvttps_epi32(phase),
                                                   _mm256_set1_epi32(FilterBank::kPhases - 1));
            store(at.base + k, _mm256_cvttps_epi32(base));
            store(at.phase + k, whole);
            _mm256_store_ps(at.fraction + k, fraction);
            _mm256_store_ps(at.share + k, _mm256_sub_ps(phase, _mm256_cvtepi32_ps(whole)));
        }
        for (size_t k = 0; k < Places::kCount; ++k) at.step[k] = FilterBank::stepIndex(at.scale[k]);
    }

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
                total = sumPairs<2>(corner, stride, ny, wx, wy);
                break;
            case 4:
                total = sumPairs<4>(corner, stride, ny, wx, wy);
                break;
            case 5:
                total = sumPairs<5>(corner, stride, ny, wx, wy);
                break;
            case 6:
                total = sumPairs<6>(corner, stride, ny, wx, wy);
                break;
            case 7:
                total = sumPairs<7>(corner, stride, ny, wx, wy);
                break;
            case 8:
                total = sumPairs<8>(corner, stride, ny, wx, wy);
                break;
            case 9:
                total = sumPairs<9>(corner, stride, ny, wx, wy);
                break;
            case 10:
                total = sumPairs<10>(corner, stride, ny, wx, wy);
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
};

}  // namespace

void resampleAvx2(const io::PlatePixels& plate, const BrightLight* bright, bool smooth,
                  const SamplePoint* points, size_t count, float* rgba) {
    resamplePlate<Avx2Simd>(plate, bright, smooth, points, count, rgba);
}

}  // namespace plateloom::stitch

#endif
