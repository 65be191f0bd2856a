// Weights of the resampling filters, ready to be looked up.
//
// A filter is a kernel K(u) of unit cut-off, stretched by the scale s when plate pixels are smaller
// than output pixels: pixel i at distance d gets K(d / s), and the weights are normalised to a sum
// of 1. Stored for scales in 16 steps an octave and for 65 phases; between two phases the weights
// are interpolated linearly, so that no position is rounded: the error is that of linear
// interpolation over 1/64 pixel of an already filtered signal, below -100 dB at 11 pixels a period.
#pragma once

#include <cstddef>
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

    /// The stored step nearest to `scale`, or null when it has to be weighed afresh.
    [[nodiscard]] const FilterStep* step(float scale) const;
    /// Weights at a position `fraction` (0 to 1) beyond a pixel's centre for any scale up to
    /// kLargestScale, into `weights` (kMostTaps floats); returns the number of taps.
    int weigh(double fraction, double scale, float* weights) const;

private:
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
