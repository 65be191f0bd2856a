// The loop of the resampler, written once and compiled once for each instruction set: a file that
// includes this gives a `Simd` with the operations below. Everything is in an unnamed namespace, so
// that no compiled copy can stand in for another's.
//
//     place(places)                     all of `Places` from position and scale
//     interpolate(a, b, t, count, out)  out = a + t (b - a), count a multiple of 8
//     sum(corner, stride, nx, ny, wx, wy, rgba)  the weighted sum of a block of texels
//     range(corner, stride, nx, ny)     smallest and largest of each channel, nx even
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

#include <optional>
#include <vector>

#include "stitch/resample/bright_sum.h"
#include "stitch/resample/filter_bank.h"
#include "stitch/resample/resample.h"
#include "stitch/resample/resample_block.h"

namespace plateloom::stitch {

namespace {

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

// The plate's pixels that `points` need, and their largest scale. Points off the frame count as if
// they lay on its edge.
struct Needed {
    int x0 = 0, y0 = 0, x1 = 0, y1 = 0;
    float scale = 1;
};

inline Needed neededBy(const SamplePoint* points, size_t count, const FilterBank& bank, int width,
                       int height) {
    const float most[4] = {float(width), float(height), 1e6f, 1e6f};
    float low[4] = {most[0], most[1], 1, 1}, high[4] = {0, 0, 1, 1};
    for (size_t i = 0; i < count; ++i) {
        const float point[4] = {points[i].x, points[i].y, points[i].scale_x, points[i].scale_y};
        for (int c = 0; c < 4; ++c) {
            const float value = std::min(most[c], std::max(0.0f, point[c]));
            low[c] = std::min(low[c], value);
            high[c] = std::max(high[c], value);
        }
    }
    Needed needed;
    needed.scale = std::max(high[2], high[3]);
    const FilterStep* step = bank.step(needed.scale);
    const int reach = (step ? step->taps : bank.tapsAt(needed.scale)) / 2 + 2;
    needed.x0 = std::max(0, int(low[0]) - reach);
    needed.y0 = std::max(0, int(low[1]) - reach);
    needed.x1 = std::min(width, int(high[0]) + reach);
    needed.y1 = std::min(height, int(high[1]) + reach);
    return needed;
}

constexpr double kMostNearBytes = 128 << 10;  // well within a core's own cache

// Copies the part that `points` need, where they lie close together; else gives nothing.
template <class Simd, class Texel, class Near = typename Simd::template Near<Texel>>
Texels<Near> nearTexels(const Texels<Texel>& plate, const FilterBank& bank, const Needed& needed,
                        size_t count, std::vector<Near>& copy) {
    const FilterStep* step = bank.step(needed.scale);
    if (!step) return {};
    Texels<Near> part{nullptr, needed.x0, needed.y0, needed.x1 - needed.x0, needed.y1 - needed.y0};
    const double texels = double(part.width) * part.height;
    const double read_singly = double(count) * step->taps * step->taps;
    if (texels * 4 * sizeof(Near) > kMostNearBytes || texels > read_singly / 8) return {};
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

    // `plate` may be a part of the frame that holds all that the points need.
    Batch(const Texels<Texel>& plate, int width, int height, const FilterBank& bank, bool smooth)
        : plate_(plate), width_(width), height_(height), bank_(bank), smooth_(smooth) {}

    void use(const Texels<Texel>& plate) { plate_ = plate; }

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
            if (!onFrame(points[i], width_, height_))
                std::fill_n(out, 4, 0.0f);
            else if (near.hold(x, y))
                sample(near.at(x.first, y.first), near.stride(), i, out);
            else if (plate_.hold(x, y))
                sample(plate_.at(x.first, y.first), plate_.stride(), i, out);
            else
                sample(patchAtEdge<Simd>(plate_, width_, height_, x, y, smooth_, patch_),
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
    int width_, height_;
    const FilterBank& bank_;
    bool smooth_;
    Places places_;
    AxisTaps x_[kMost], y_[kMost];
    alignas(32) float wx_[kMost][FilterBank::kMostTaps + 8], wy_[kMost][FilterBank::kMostTaps + 8];
    std::vector<float> patch_;
};

// Samples near light that is filtered by itself: the ordinary part from a copy that the bright one
// is taken out of, then the bright part's own sum (bright_light.h).
template <class Simd, class Texel>
class SplitSamples {
public:
    SplitSamples(const Texels<Texel>& plate, const BrightLight& bright, const FilterBank& bank)
        : plate_(plate),
          bright_(bright),
          bank_(bank),
          batch_({}, plate.width, plate.height, bank, false),
          sum_(bright, plate.width, plate.height) {}

    void run(const Needed& needed, const SamplePoint* points, size_t count, float* rgba) {
        const Texels<float> part{nullptr, needed.x0, needed.y0, needed.x1 - needed.x0,
                                 needed.y1 - needed.y0};
        if (count > 1 && double(part.stride()) * part.height * sizeof(float) > kMostNearBytes) {
            for (const size_t begin : {size_t(0), count / 2}) {
                const size_t some = begin == 0 ? count / 2 : count - count / 2;
                run(neededBy(points + begin, some, bank_, plate_.width, plate_.height),
                    points + begin, some, rgba + 4 * begin);
            }
            return;
        }
        const Texels<float> ordinary = ordinaryPart(part);
        batch_.use(ordinary);
        for (size_t k = 0; k < count; k += Samples::kMost)
            batch_.run(ordinary, points + k, std::min(Samples::kMost, count - k), rgba + 4 * k);
        for (size_t k = 0; k < count; ++k)
            if (rgba[4 * k + 3] > 0) sum_.add(points[k], rgba + 4 * k);
    }

private:
    using Samples = Batch<Simd, float>;

    Texels<float> ordinaryPart(Texels<float> part) {
        copy_.resize(size_t(part.height) * size_t(part.stride()));
        for (int y = 0; y < part.height; ++y)
            for (int x = 0; x < part.width; ++x)
                Simd::texel(plate_.at(part.x0 + x, part.y0 + y),
                            &copy_[size_t(y) * size_t(part.stride()) + size_t(x) * 4]);
        bright_.subtract(part.x0, part.y0, part.width, part.height, copy_.data());
        part.data = copy_.data();
        return part;
    }

    const Texels<Texel>& plate_;
    const BrightLight& bright_;
    const FilterBank& bank_;
    Samples batch_;
    BrightSum sum_;
    std::vector<float> copy_;
};

template <class Simd, class Texel>
void resampleAll(const Texels<Texel>& plate, const BrightLight* bright, bool smooth,
                 const SamplePoint* points, size_t count, float* rgba) {
    constexpr size_t kNeighbours = 256;  // a lattice cell's worth
    using Samples = Batch<Simd, Texel>;
    const FilterBank& bank = smooth ? smoothFilter() : sharpFilter();
    Samples batch(plate, plate.width, plate.height, bank, smooth);
    std::optional<SplitSamples<Simd, Texel>> split;
    if (bright) split.emplace(plate, *bright, bank);
    std::vector<typename Simd::template Near<Texel>> copy;
    for (size_t i = 0; i < count; i += kNeighbours) {
        const size_t end = std::min(count, i + kNeighbours);
        const Needed needed = neededBy(points + i, end - i, bank, plate.width, plate.height);
        if (bright && bright->isIn(needed.x0, needed.y0, needed.x1, needed.y1)) {
            split->run(needed, points + i, end - i, rgba + 4 * i);
            continue;
        }
        const auto near = nearTexels<Simd>(plate, bank, needed, end - i, copy);
        for (size_t k = i; k < end; k += Samples::kMost)
            batch.run(near, points + k, std::min(Samples::kMost, end - k), rgba + 4 * k);
    }
}

template <class Simd>
void resamplePlate(const io::PlatePixels& plate, const BrightLight* bright, bool smooth,
                   const SamplePoint* points, size_t count, float* rgba) {
    if (plate.isHalf())
        resampleAll<Simd>(Texels<uint16_t>{plate.half.data(), 0, 0, plate.width, plate.height},
                          bright, smooth, points, count, rgba);
    else
        resampleAll<Simd>(Texels<float>{plate.full.data(), 0, 0, plate.width, plate.height}, bright,
                          smooth, points, count, rgba);
}

}  // namespace

}  // namespace plateloom::stitch
