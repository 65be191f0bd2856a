// The loop of the resampler, written once and compiled once for each instruction set: a file that
// includes this gives a `Simd` with the operations below. Everything is in an unnamed namespace, so
// that no compiled copy can stand in for another's.
//
//     place(places)                     all of `Places` from position and scale
//     interpolate(a, b, t, count, out)  out = a + t (b - a), count a multiple of 8
//     sum(corner, stride, nx, ny, wx, wy, rgba)  the weighted sum of a block of texels
//     range(corner, stride, nx, ny)     smallest and largest of each channel, nx even
//     outOfRange(corner, stride, rgba)  is R, G or B 6 % or more beyond the 2 x 2 block's range?
//     texel(pointer, rgba)              one texel as float
//     Near<Texel>                       what texels are copied out as
//     copyRow(from, values, to)         copies them out
//
// One sample at scale 1 (8 x 8 taps) reads 512 bytes of half texels and costs 64 fused
// multiply-adds of 4 channels. What counts is where those bytes come from: on a plate 2048 pixels
// wide all rows of a column fall into the same set of the nearest cache and push each other out. So
// the part of the plate that a lattice cell needs is copied out once, row after row; at scale 1.5
// that alone makes the loop half as fast again. Rates: tests/bench/resample_bench.
#pragma once

#include "stitch/resample/filter_bank.h"
#include "stitch/resample/resample.h"
#include "stitch/resample/resample_block.h"

namespace plateloom::stitch {

namespace {

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

// Positions along an axis, and what follows from them: the last pixel whose centre does not lie
// beyond, the way from there, and which weights of the bank belong to it.
struct Places {
    static constexpr size_t kCount = 32;
    static constexpr float kFarthest = 1e6f;  // off any frame: such a sample is never taken

    alignas(32) float position[kCount] = {}, scale[kCount] = {};
    alignas(32) int base[kCount], phase[kCount], step[kCount];
    alignas(32) float fraction[kCount], share[kCount];
};

// False for a position that is not a number as well.
inline bool onFrame(const SamplePoint& point, int width, int height) {
    return point.x >= 0 && point.y >= 0 && point.x <= float(width) && point.y <= float(height);
}

// Copies the part that `points` need, where they lie close together; else gives nothing.
// Points off the frame count as if they lay on its edge.
template <class Simd, class Texel, class Near = typename Simd::template Near<Texel>>
Texels<Near> nearTexels(const Texels<Texel>& plate, const FilterBank& bank,
                        const SamplePoint* points, size_t count, std::vector<Near>& copy) {
    constexpr double kMostBytes = 128 << 10;  // well within a core's own cache
    const float most[4] = {float(plate.width), float(plate.height), 1e6f, 1e6f};
    float low[4] = {most[0], most[1], 1, 1}, high[4] = {0, 0, 1, 1};
    for (size_t i = 0; i < count; ++i) {
        const float point[4] = {points[i].x, points[i].y, points[i].scale_x, points[i].scale_y};
        for (int c = 0; c < 4; ++c) {
            const float value = std::min(most[c], std::max(0.0f, point[c]));
            low[c] = std::min(low[c], value);
            high[c] = std::max(high[c], value);
        }
    }
    const FilterStep* step = bank.step(std::max(high[2], high[3]));
    if (!step) return {};
    const int reach = step->taps / 2 + 2;
    Texels<Near> part;
    part.x0 = std::max(0, int(low[0]) - reach);
    part.y0 = std::max(0, int(low[1]) - reach);
    part.width = std::min(plate.width, int(high[0]) + reach) - part.x0;
    part.height = std::min(plate.height, int(high[1]) + reach) - part.y0;
    const double texels = double(part.width) * part.height;
    const double read_singly = double(count) * step->taps * step->taps;
    if (texels * 4 * sizeof(Near) > kMostBytes || texels > read_singly / 8) return {};
    copy.resize(size_t(part.height) * size_t(part.stride()));
    for (int y = 0; y < part.height; ++y)
        Simd::copyRow(plate.at(part.x0, part.y0 + y), part.stride(),
                      &copy[size_t(y * part.stride())]);
    part.data = copy.data();
    return part;
}

// A few samples at a time, one step for all of them after the other: the steps are chains of
// operations that wait for one another, and several chains fill each other's waits.
template <class Simd, class Texel>
class Batch {
public:
    static constexpr size_t kMost = Places::kCount / 2;

    Batch(const Texels<Texel>& plate, const FilterBank& bank, bool smooth)
        : plate_(plate), bank_(bank), smooth_(smooth) {}

    void run(const Texels<typename Simd::template Near<Texel>>& near, const SamplePoint* points,
             size_t count, float* rgba) {
        place(points, count);
        for (size_t i = 0; i < count; ++i) {
            weigh(i, x_[i], wx_[i]);
            weigh(kMost + i, y_[i], wy_[i]);
        }
        for (size_t i = 0; i < count; ++i) {
            float* out = rgba + 4 * i;
            const AxisTaps &x = x_[i], &y = y_[i];
            if (!onFrame(points[i], plate_.width, plate_.height))
                std::fill_n(out, 4, 0.0f);
            else if (near.hold(x, y))
                sample(near.at(x.first, y.first), near.stride(), i, out);
            else if (plate_.hold(x, y))
                sample(plate_.at(x.first, y.first), plate_.stride(), i, out);
            else
                sample(patchAtEdge<Simd>(plate_.data, plate_.width, plate_.height, x, y, smooth_,
                                         patch_),
                       ptrdiff_t(x.taps) * 4, i, out);
        }
    }

private:
    // All x, then all y.
    void place(const SamplePoint* points, size_t count) {
        for (size_t i = 0; i < count; ++i) {
            places_.position[i] = points[i].x;
            places_.position[kMost + i] = points[i].y;
            places_.scale[i] = points[i].scale_x;
            places_.scale[kMost + i] = points[i].scale_y;
        }
        Simd::place(places_);
    }

    void weigh(size_t k, AxisTaps& axis, float* weights) const {
        const Places& at = places_;
        const FilterStep* step = bank_.stepAt(at.step[k]);
        if (step)
            Simd::interpolate(step->row(at.phase[k]), step->row(at.phase[k] + 1), at.share[k],
                              step->stride, weights);
        else
            bank_.weigh(double(at.fraction[k]), double(at.scale[k]), weights);
        axis.taps = step ? step->taps : bank_.tapsAt(at.scale[k]);
        axis.first = at.base[k] - axis.taps / 2 + 1;
        axis.centre = axis.taps / 2 - 1 + (at.fraction[k] >= 0.5f);
    }

    template <class T>
    void sample(const T* corner, ptrdiff_t stride, size_t i, float* rgba) {
        Simd::sum(corner, stride, x_[i].taps, y_[i].taps, wx_[i], wy_[i], rgba);
        finish<Simd>(corner, stride, x_[i], y_[i], wx_[i], wy_[i], smooth_, rgba);
    }

    Texels<Texel> plate_;
    const FilterBank& bank_;
    bool smooth_;
    Places places_;
    AxisTaps x_[kMost], y_[kMost];
    alignas(32) float wx_[kMost][FilterBank::kMostTaps + 8], wy_[kMost][FilterBank::kMostTaps + 8];
    std::vector<float> patch_;
};

template <class Simd, class Texel>
void resampleAll(const Texels<Texel>& plate, bool smooth, const SamplePoint* points, size_t count,
                 float* rgba) {
    constexpr size_t kNeighbours = 256;  // a lattice cell's worth
    using Samples = Batch<Simd, Texel>;
    const FilterBank& bank = smooth ? smoothFilter() : sharpFilter();
    Samples batch(plate, bank, smooth);
    std::vector<typename Simd::template Near<Texel>> copy;
    for (size_t i = 0; i < count; i += kNeighbours) {
        const size_t end = std::min(count, i + kNeighbours);
        const auto near = nearTexels<Simd>(plate, bank, points + i, end - i, copy);
        for (size_t k = i; k < end; k += Samples::kMost)
            batch.run(near, points + k, std::min(Samples::kMost, end - k), rgba + 4 * k);
    }
}

template <class Simd>
void resamplePlate(const io::PlatePixels& plate, bool smooth, const SamplePoint* points,
                   size_t count, float* rgba) {
    if (plate.isHalf())
        resampleAll<Simd>(Texels<uint16_t>{plate.half.data(), 0, 0, plate.width, plate.height},
                          smooth, points, count, rgba);
    else
        resampleAll<Simd>(Texels<float>{plate.full.data(), 0, 0, plate.width, plate.height}, smooth,
                          points, count, rgba);
}

}  // namespace

}  // namespace plateloom::stitch
