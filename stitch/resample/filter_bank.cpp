#include "stitch/resample/filter_bank.h"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "calib/angle.h"

namespace plateloom::stitch {

namespace {

using calib::kPi;
constexpr double kSharpRadius = 4;
constexpr double kKaiserBeta = 9.0;

// Modified Bessel function of the first kind, order 0, by its power series.
double besselI0(double x) {
    double sum = 1, term = 1;
    for (int k = 1; term > 1e-17 * sum; ++k) {
        term *= (0.5 * x / k) * (0.5 * x / k);
        sum += term;
    }
    return sum;
}

double windowedSinc(double u) {
    const double a = std::abs(u);
    if (a >= kSharpRadius) return 0;
    const double r = a / kSharpRadius;
    const double sinc = a < 1e-9 ? 1 : std::sin(kPi * a) / (kPi * a);
    return sinc * besselI0(kKaiserBeta * std::sqrt(1 - r * r)) / besselI0(kKaiserBeta);
}

double cubicBSpline(double u) {
    const double a = std::abs(u);
    if (a >= 2) return 0;
    if (a >= 1) return (2 - a) * (2 - a) * (2 - a) / 6;
    return 2.0 / 3 - a * a + 0.5 * a * a * a;
}

}  // namespace

FilterBank::FilterBank(Kernel kernel, double radius) : kernel_(kernel), radius_(radius) {
    const uint32_t first = std::bit_cast<uint32_t>(1.0f) >> kStepShift;
    const uint32_t last = std::bit_cast<uint32_t>(kLargestStored) >> kStepShift;
    std::vector<float> row(kMostTaps);
    for (uint32_t bits = first; bits <= last; ++bits) {
        FilterStep step;
        step.scale = std::bit_cast<float>(bits << kStepShift);
        step.taps = tapsAt(step.scale);
        step.stride = (step.taps + 7) / 8 * 8;
        step.weights.assign(size_t(kPhases + 1) * step.stride, 0.0f);
        for (int phase = 0; phase <= kPhases; ++phase) {
            weigh(double(phase) / kPhases, step.scale, row.data());
            std::copy_n(row.data(), step.taps, &step.weights[size_t(phase) * step.stride]);
        }
        steps_.push_back(std::move(step));
    }
}

int FilterBank::tapsAt(float scale) const {
    return 2 * int(std::ceil(radius_ * double(std::clamp(scale, 1.0f, kLargestScale))));
}

void FilterBank::weigh(double fraction, double scale, float* weights) const {
    scale = std::clamp(scale, 1.0, double(kLargestScale));
    const int taps = tapsAt(float(scale));
    double exact[kMostTaps];
    for (int k = 0; k < taps; ++k) exact[k] = kernel_((k - taps / 2 + 1 - fraction) / scale);
    const double sum = std::accumulate(exact, exact + taps, 0.0);
    for (int k = 0; k < taps; ++k) weights[k] = float(exact[k] / sum);
}

const FilterBank& sharpFilter() {
    static const FilterBank bank(windowedSinc, kSharpRadius);
    return bank;
}

const FilterBank& smoothFilter() {
    static const FilterBank bank(cubicBSpline, 2);
    return bank;
}

}  // namespace plateloom::stitch
