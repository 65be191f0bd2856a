// What the resampler does with one block of texels once its weighted sum is known: leave holes out,
// keep alpha and colour together, and make the block up where it runs over
// the frame's edge. Part of resample_loop.h, which says what `Simd` is.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include "io/hole.h"

namespace plateloom::stitch {

namespace {

// A filtered alpha this near to 1 is rounding: every pixel under the filter covers.
constexpr float kAlphaRounding = 1e-5f;
// Less of the filter's weight than this on samples: their mean would be more noise than light.
constexpr float kLeastWeight = 0.4f;

// Smallest and largest value of each channel over a block.
struct Range {
    float low[4], high[4];
};

struct AxisTaps {
    int first = 0, taps = 0;
    int centre = 0;  // of the taps, the one whose pixel holds the position
};

// Texels of a plate, or of a part of one.
template <class Texel>
struct Texels {
    const Texel* data = nullptr;
    int x0 = 0, y0 = 0, width = 0, height = 0;

    [[nodiscard]] ptrdiff_t stride() const { return ptrdiff_t(width) * 4; }
    [[nodiscard]] const Texel* at(int x, int y) const {
        return data + (y - y0) * stride() + 4 * ptrdiff_t(x - x0);
    }
    [[nodiscard]] bool hold(const AxisTaps& x, const AxisTaps& y) const {
        return x.first >= x0 && y.first >= y0 && x.first + x.taps <= x0 + width &&
               y.first + y.taps <= y0 + height;
    }
};

// Where the middle of the filter holds no negative light the result is none: a smooth trough that
// touches 0 may come out a little below.
template <class Simd, class Texel>
void boundBelow(const Texel* corner, ptrdiff_t stride, int nx, int ny, float* rgba) {
    const int ix = (nx + 2) / 4, iy = (ny + 2) / 4;
    const Range inner =
        Simd::range(corner + iy * stride + 4 * ix, stride, nx - 2 * ix, ny - 2 * iy);
    for (int c = 0; c < 3; ++c)
        if (inner.low[c] >= 0) rgba[c] = std::max(rgba[c], 0.0f);
}

// Over the central half of a block, holes left out: the four values as they are, and the colour
// itself (R / A and so on) of what is not transparent.
struct CoveredRange {
    Range value{{1e38f, 1e38f, 1e38f, 1e38f}, {-1e38f, -1e38f, -1e38f, -1e38f}};
    Range colour = value;
    bool glows[3] = {false, false, false};  // light where nothing covers: no colour bounds it

    static void include(Range& range, int c, float value) {
        range.low[c] = std::min(range.low[c], value);
        range.high[c] = std::max(range.high[c], value);
    }
    void include(const float* rgba) {
        for (int c = 0; c < 4; ++c) include(value, c, rgba[c]);
        for (int c = 0; c < 3; ++c) {
            if (rgba[3] > 0)
                include(colour, c, rgba[c] / rgba[3]);
            else
                glows[c] = glows[c] || rgba[c] != 0;
        }
    }

    // A smooth signal's crest lies above the samples beside it: by an eighth of the range that it
    // has over four pixels, for a period of 12. (Alpha has no such room: it would ring at mattes.)
    static void widen(Range& range, int c) {
        const float margin = 0.25f * std::max(0.0f, range.high[c] - range.low[c]);
        range.low[c] =
            range.low[c] >= 0 ? std::max(0.0f, range.low[c] - margin) : range.low[c] - margin;
        range.high[c] += margin;
    }
    void widen() {
        for (Range* range : {&value, &colour})
            for (int c = 0; c < 3; ++c) widen(*range, c);
    }
};

template <class Simd, class Texel>
CoveredRange coveredRange(const Texel* corner, ptrdiff_t stride, int nx, int ny) {
    CoveredRange range;
    const int ix = (nx + 2) / 4, iy = (ny + 2) / 4;
    for (int y = iy; y < ny - iy; ++y)
        for (int x = ix; x < nx - ix; ++x) {
            float rgba[4];
            Simd::texel(corner + y * stride + 4 * x, rgba);
            if (!io::isHole(rgba[3])) range.include(rgba);
        }
    range.widen();
    return range;
}

// What of the filter's weight (1 in all) lies on samples.
template <class Simd, class Texel>
float weightOfSamples(const Texel* corner, ptrdiff_t stride, const AxisTaps& x, const AxisTaps& y,
                      const float* wx, const float* wy) {
    float weight = 1;
    for (int j = 0; j < y.taps; ++j)
        for (int i = 0; i < x.taps; ++i) {
            float rgba[4];
            Simd::texel(corner + j * stride + 4 * i, rgba);
            if (io::isHole(rgba[3])) weight -= wx[i] * wy[j];
        }
    return weight;
}

// Some of the block is a hole or partly transparent. The mean is over the samples; where their
// weight is too small for one, the middle pixel's own. All four channels have gone through the same
// filter; where alpha left the range of its neighbours (it rings beside a hard matte) all four are
// brought back by the same factor, and colour / alpha is kept near the neighbours' range too. A
// constant colour under any alpha therefore stays that colour, to rounding.
template <class Simd, class Texel>
void settleCover(const Texel* corner, ptrdiff_t stride, const AxisTaps& x, const AxisTaps& y,
                 const float* wx, const float* wy, float* rgba) {
    float centre[4];
    Simd::texel(corner + y.centre * stride + 4 * x.centre, centre);
    if (io::isHole(centre[3])) {
        std::fill_n(rgba, 4, 0.0f);
        return;
    }
    const float weight = weightOfSamples<Simd>(corner, stride, x, y, wx, wy);
    const CoveredRange range = coveredRange<Simd>(corner, stride, x.taps, y.taps);
    // Alpha so far below all of its neighbours can't be brought back by a factor.
    if (weight < kLeastWeight || rgba[3] < 0.5f * weight * range.value.low[3])
        std::copy_n(centre, 4, rgba);
    else
        for (int c = 0; c < 4; ++c) rgba[c] /= weight;
    const float alpha = std::clamp(rgba[3], range.value.low[3], range.value.high[3]);
    const float factor = rgba[3] > 0 ? alpha / rgba[3] : 1;
    for (int c = 0; c < 3; ++c) {
        const float value = rgba[c] * factor;
        if (range.glows[c])
            rgba[c] = std::clamp(value, range.value.low[c], range.value.high[c]);
        else
            rgba[c] = alpha > 0 ? std::clamp(value, alpha * range.colour.low[c],
                                             alpha * range.colour.high[c])
                                : 0;
    }
    rgba[3] = alpha;
}

template <class Simd, class Texel>
inline void finish(const Texel* corner, ptrdiff_t stride, const AxisTaps& x, const AxisTaps& y,
                   const float* wx, const float* wy, bool smooth, float* rgba) {
    if (smooth) {
        const float share = rgba[3];
        for (int c = 0; c < 3; ++c) rgba[c] = share > 1e-3f ? rgba[c] / share : 0;
        rgba[3] = share > 1e-3f ? std::min(share, 1.0f) : 0;
        return;
    }
    if (std::abs(rgba[3] - 1) > kAlphaRounding) {
        settleCover<Simd>(corner, stride, x, y, wx, wy, rgba);
        return;
    }
    rgba[3] = 1;
    if (std::min({rgba[0], rgba[1], rgba[2]}) < 0)
        boundBelow<Simd>(corner, stride, x.taps, y.taps, rgba);
}

// Beyond the frame's edge the picture goes on as it came: the light there is the edge pixel's plus
// what it gained on the way to the edge, within half and twice the edge pixel. (Repeating the edge
// pixel would bend every gradient, the lens's own fall-off first of all.)
inline void extend(const float* edge, const float* mirror, float* out) {
    // Colours, not their products with alpha, go on; alpha stays.
    const float of_mirror = mirror[3] > 0 ? edge[3] / mirror[3] : 0;
    for (int c = 0; c < 3; ++c) {
        const bool known = edge[3] > 0 && mirror[3] > 0 && edge[c] > 0 && mirror[c] > 0;
        out[c] = known
                     ? std::clamp(2 * edge[c] - mirror[c] * of_mirror, 0.5f * edge[c], 2 * edge[c])
                     : edge[c];
    }
    out[3] = edge[3];
}

// The block as float, where part of it lies outside the frame: nothing is there for the smooth
// filter; for the sharp one the picture goes on, first along the rows, then down the columns.
template <class Simd, class Texel>
const float* patchAtEdge(const Texels<Texel>& plate, int width, int height, const AxisTaps& x,
                         const AxisTaps& y, bool smooth, std::vector<float>& patch) {
    patch.assign(size_t(x.taps) * y.taps * 4, 0.0f);
    const int x0 = std::max(0, -x.first), x1 = std::min(x.taps, width - x.first);
    const int y0 = std::max(0, -y.first), y1 = std::min(y.taps, height - y.first);
    const auto at = [&](int i, int j) { return &patch[(size_t(j) * x.taps + i) * 4]; };
    for (int j = y0; j < y1; ++j)
        for (int i = x0; i < x1; ++i) Simd::texel(plate.at(x.first + i, y.first + j), at(i, j));
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
