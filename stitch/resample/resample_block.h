// What the resampler does with one block of texels once its weighted sum is known: renormalise it
// where some are invalid, bound it beside a lamp, and make the block up where it runs over the
// frame's edge. Part of resample_loop.h, which says what `Simd` is.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

namespace plateloom::stitch {

namespace {

// A filtered alpha this near to 1 is rounding: every pixel under the filter is valid.
constexpr float kAlphaRounding = 1e-5f;
// Less of the filter's weight than this on valid pixels: their mean would be more noise than light.
constexpr float kLeastWeight = 0.4f;
// Beyond the four nearest pixels' range by these factors a value may be an overshoot.
constexpr float kBelowNearest = 0.94f, kAboveNearest = 1.06f;

// Smallest and largest value of each channel over a block.
struct Range {
    float low[4], high[4];
};

struct AxisTaps {
    int first = 0, taps = 0;
    int centre = 0;  // of the taps, the one whose pixel holds the position
};

// A windowed sinc overshoots beside an edge, by up to a tenth of its height: next to a lamp 400
// times as bright as the wall that is black, and beyond it bright and dark rings. What no smooth
// signal does marks it: the filter's outer taps reach far brighter pixels than its central half
// holds (under a sinusoid's trough they are at most 5.4 times as bright, for any period), or the
// value lies under half the least of that half. There the nearest pixels' range is the answer.
template <class Simd, class Texel>
void boundOvershoot(const Texel* corner, ptrdiff_t stride, int nx, int ny, float* rgba) {
    constexpr float kSmoothContrast = 8;
    const int ix = (nx + 2) / 4, iy = (ny + 2) / 4;
    const Range inner =
        Simd::range(corner + iy * stride + 4 * ix, stride, nx - 2 * ix, ny - 2 * iy);
    const Range all = Simd::range(corner, stride, nx, ny);
    for (int c = 0; c < 3; ++c) {
        float& value = rgba[c];
        const float low = inner.low[c], high = inner.high[c];
        if (low >= 0 && all.high[c] > kSmoothContrast * high)
            value = std::clamp(value, low, high);
        else if (low >= 0 && value < -0.02f * high)
            value = low;
        else if (low >= 0 && value < 0.5f * low && high > 100 * low)
            value = 0.5f * low;
        else if (low < 0 && value < low - 0.5f * (high - low))
            value = low;
        else if (high > 0 && value > 2 * high)
            value = high;
        if (low >= 0) value = std::max(value, 0.0f);
    }
}

struct ValidRange {
    float low[3] = {1e38f, 1e38f, 1e38f}, high[3] = {-1e38f, -1e38f, -1e38f};
};

// Over the valid pixels in the central half of a block.
template <class Simd, class Texel>
ValidRange validRange(const Texel* corner, ptrdiff_t stride, int nx, int ny) {
    ValidRange range;
    const int ix = (nx + 2) / 4, iy = (ny + 2) / 4;
    for (int y = iy; y < ny - iy; ++y)
        for (int x = ix; x < nx - ix; ++x) {
            float rgba[4];
            Simd::texel(corner + y * stride + 4 * x, rgba);
            if (rgba[3] == 0) continue;
            for (int c = 0; c < 3; ++c) {
                range.low[c] = std::min(range.low[c], rgba[c]);
                range.high[c] = std::max(range.high[c], rgba[c]);
            }
        }
    return range;
}

// Some of the block is invalid: the mean over the valid part, no further out than the range of the
// valid pixels in its middle.
template <class Simd, class Texel>
void renormalise(const Texel* corner, ptrdiff_t stride, const AxisTaps& x, const AxisTaps& y,
                 float* rgba) {
    float centre[4];
    Simd::texel(corner + y.centre * stride + 4 * x.centre, centre);
    if (centre[3] == 0) {
        std::fill_n(rgba, 4, 0.0f);
        return;
    }
    if (rgba[3] < kLeastWeight) {
        std::copy_n(centre, 3, rgba);
    } else {
        const ValidRange inner = validRange<Simd>(corner, stride, x.taps, y.taps);
        for (int c = 0; c < 3; ++c)
            rgba[c] = std::clamp(rgba[c] / rgba[3], inner.low[c], inner.high[c]);
    }
    rgba[3] = 1;
}

template <class Simd, class Texel>
inline void finish(const Texel* corner, ptrdiff_t stride, const AxisTaps& x, const AxisTaps& y,
                   bool smooth, float* rgba) {
    if (smooth) {
        const float share = rgba[3];
        for (int c = 0; c < 3; ++c) rgba[c] = share > 1e-3f ? rgba[c] / share : 0;
        rgba[3] = share > 1e-3f ? std::min(share, 1.0f) : 0;
        return;
    }
    if (std::abs(rgba[3] - 1) > kAlphaRounding) {
        renormalise<Simd>(corner, stride, x, y, rgba);
        return;
    }
    rgba[3] = 1;
    const Texel* centre = corner + (y.taps / 2 - 1) * stride + 4 * (x.taps / 2 - 1);
    if (Simd::outOfRange(centre, stride, rgba))
        boundOvershoot<Simd>(corner, stride, x.taps, y.taps, rgba);
}

// Beyond the frame's edge the picture goes on as it came: the light there is the edge pixel's plus
// what it gained on the way to the edge, within half and twice the edge pixel. (Repeating the edge
// pixel would bend every gradient, the lens's own fall-off first of all.)
inline void extend(const float* edge, const float* mirror, float* out) {
    for (int c = 0; c < 3; ++c) {
        const bool known = edge[3] != 0 && mirror[3] != 0 && edge[c] > 0 && mirror[c] > 0;
        out[c] = known ? std::clamp(2 * edge[c] - mirror[c], 0.5f * edge[c], 2 * edge[c]) : edge[c];
    }
    out[3] = edge[3];
}

// The block as float, where part of it lies outside the frame: nothing is there for the smooth
// filter; for the sharp one the picture goes on, first along the rows, then down the columns.
template <class Simd, class Texel>
const float* patchAtEdge(const Texel* data, int width, int height, const AxisTaps& x,
                         const AxisTaps& y, bool smooth, std::vector<float>& patch) {
    patch.assign(size_t(x.taps) * y.taps * 4, 0.0f);
    const int x0 = std::max(0, -x.first), x1 = std::min(x.taps, width - x.first);
    const int y0 = std::max(0, -y.first), y1 = std::min(y.taps, height - y.first);
    const auto at = [&](int i, int j) { return &patch[(size_t(j) * x.taps + i) * 4]; };
    for (int j = y0; j < y1; ++j)
        for (int i = x0; i < x1; ++i)
            Simd::texel(data + (size_t(y.first + j) * width + x.first + i) * 4, at(i, j));
    if (smooth) return patch.data();
    for (int j = y0; j < y1; ++j) {
        for (int i = 0; i < x0; ++i)
            extend(at(x0, j), at(std::min(2 * x0 - i, x1 - 1), j), at(i, j));
        for (int i = x1; i < x.taps; ++i)
            extend(at(x1 - 1, j), at(std::max(2 * (x1 - 1) - i, x0), j), at(i, j));
    }
    for (int i = 0; i < x.taps; ++i) {
        for (int j = 0; j < y0; ++j)
            extend(at(i, y0), at(i, std::min(2 * y0 - j, y1 - 1)), at(i, j));
        for (int j = y1; j < y.taps; ++j)
            extend(at(i, y1 - 1), at(i, std::max(2 * (y1 - 1) - j, y0)), at(i, j));
    }
    return patch.data();
}

}  // namespace

}  // namespace plateloom::stitch
