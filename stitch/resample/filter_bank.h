// Weights of the resampling filters, ready to be looked up.
//
// A filter is a kernel K(u) of unit cut-off, stretched by the scale s when plate pixels are smaller
// than output pixels: pixel i at distance d gets K(d / s), and the weights are normalised to a sum
// of 1. Stored for scales in 16 steps an octave and for 65 phases; between two phases the weights
// are interpolated linearly, so that no position is rounded: the error is that of linear
// interpolation over 1/64 pixel of an already filtered signal, below -100 dB at 11 pixels a period.
#pragma once

#include <algorithm>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace plateloom::stitch {

/// The filter at one scale. Row p (0 .. 64) holds the weights of pixels base - taps/2 + 1 ..
/// base + taps/2 for a position p/64 beyond the centre of pixel `base`.
struct FilterStep {
    float scale = 1;
    int taps = 0;    ///< even
    int stride = 0;  ///< taps rounded up to a multiple of 8; the rest is zero
    std::vector<float> weights;

    [[nodiscard]] const float* row(int phase) const { return &weights[size_t(phase) * stride]; }
};

class FilterBank {
public:
    static constexpr int kPhases = 64;
    static constexpr float kLargestScale = 64;  ///< beyond it the filter widens no more
    static constexpr float kLargestStored = 8;
    static constexpr int kMostTaps = 512;

    using Kernel = double (*)(double u);
    FilterBank(Kernel kernel, double radius);

    /// The stored step nearest to a scale: its index, and the step itself or null when the scale is
    /// so large that it has to be weighed afresh.
    [[nodiscard]] static int stepIndex(float scale) {
        constexpr int kHalfStep = 1 << (kStepShift - 1);
        const int bits = std::bit_cast<int>(std::max(1.0f, scale));
        return ((bits + kHalfStep) >> kStepShift) - (std::bit_cast<int>(1.0f) >> kStepShift);
    }
    [[nodiscard]] const FilterStep* stepAt(int index) const {
        return size_t(index) < steps_.size() ? &steps_[size_t(index)] : nullptr;
    }
    [[nodiscard]] const FilterStep* step(float scale) const { return stepAt(stepIndex(scale)); }
    [[nodiscard]] int tapsAt(float scale) const;
    /// Weights at a position `fraction` (0 to 1) beyond a pixel's centre for any scale up to
    /// kLargestScale, tapsAt(scale) of them, into `weights`.
    void weigh(double fraction, double scale, float* weights) const;

private:
    // Scales 1, 1 + 1/16 .. 2, 2 + 2/16 .. 4 and so on: the float's own bits count them.
    static constexpr int kStepShift = 23 - 4;

    Kernel kernel_;
    double radius_;
    std::vector<FilterStep> steps_;
};

/// Windowed sinc of radius 4: see the .cpp for how the window was chosen.
[[nodiscard]] const FilterBank& sharpFilter();
/// Cubic B-spline, radius 2: never negative, passes a quarter of the light's contrast at the output
/// grid's limit.
[[nodiscard]] const FilterBank& smoothFilter();

}  // namespace plateloom::stitch
