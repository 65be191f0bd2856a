#include <bit>
#include <cstdint>

#include "stitch/resample/resample_loop.h"
#include "stitch/resample/resample_variants.h"

namespace plateloom::stitch {

namespace {

struct PortableSimd {
    // Exact for every finite half: the exponent's bias is put right by one multiplication, which
    // also brings subnormal halves to normal floats.
    static float asFloat(uint16_t bits) {
        const float magnitude = std::bit_cast<float>((bits & 0x7fffu) << 13) * 0x1p112f;
        return std::bit_cast<float>(std::bit_cast<uint32_t>(magnitude) | ((bits & 0x8000u) << 16));
    }
    static float asFloat(float value) { return value; }

    template <class Texel>
    static void texel(const Texel* at, float* rgba) {
        for (int c = 0; c < 4; ++c) rgba[c] = asFloat(at[c]);
    }

    template <class Texel>
    using Near = float;
    template <class Texel>
    static void copyRow(const Texel* from, ptrdiff_t values, float* to) {
        for (ptrdiff_t i = 0; i < values; ++i) to[i] = asFloat(from[i]);
    }

    static void place(Places& at) {
        for (size_t k = 0; k < Places::kCount; ++k) {
            const float u = std::min(Places::kFarthest, std::max(0.0f, at.position[k])) - 0.5f;
            const int toward_zero = int(u);
            at.base[k] = toward_zero - (u < float(toward_zero));
            at.fraction[k] = u - float(at.base[k]);
            const float phase = at.fraction[k] * float(FilterBank::kPhases);
            at.phase[k] = std::min(int(phase), FilterBank::kPhases - 1);
            at.share[k] = phase - float(at.phase[k]);
            at.step[k] = FilterBank::stepIndex(at.scale[k]);
        }
    }

    static void interpolate(const float* a, const float* b, float t, int count, float* out) {
        for (int i = 0; i < count; ++i) out[i] = a[i] + t * (b[i] - a[i]);
    }

    // Down the columns first: the weights along x are needed once, at the end.
    template <class Texel>
    static void sum(const Texel* corner, ptrdiff_t stride, int nx, int ny, const float* wx,
                    const float* wy, float* rgba) {
        float column[4 * FilterBank::kMostTaps];
        std::fill_n(column, 4 * nx, 0.0f);
        for (int j = 0; j < ny; ++j, corner += stride) {
            const float w = wy[j];
            for (int i = 0; i < 4 * nx; ++i) column[i] += w * asFloat(corner[i]);
        }
        float total[4] = {0, 0, 0, 0};
        for (int i = 0; i < nx; ++i)
            for (int c = 0; c < 4; ++c) total[c] += wx[i] * column[4 * i + c];
        std::copy_n(total, 4, rgba);
    }

    template <class Texel>
    static Range range(const Texel* corner, ptrdiff_t stride, int nx, int ny) {
        Range range;
        texel(corner, range.low);
        texel(corner, range.high);
        for (int j = 0; j < ny; ++j, corner += stride)
            for (int i = 0; i < nx; ++i)
                for (int c = 0; c < 4; ++c) {
                    const float value = asFloat(corner[4 * i + c]);
                    range.low[c] = std::min(range.low[c], value);
                    range.high[c] = std::max(range.high[c], value);
                }
        return range;
    }
};

}  // namespace

void resamplePortable(const io::PlatePixels& plate, const BrightLight* bright, bool smooth,
                      const SamplePoint* points, size_t count, float* rgba) {
    resamplePlate<PortableSimd>(plate, bright, smooth, points, count, rgba);
}

}  // namespace plateloom::stitch
