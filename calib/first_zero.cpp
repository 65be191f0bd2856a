#include "calib/first_zero.h"

#include <algorithm>
#include <cmath>

namespace plateloom::calib {

namespace {

// Coefficients over [0, 1] from those of the powers: b_i = sum_j C(i, j) / C(n, j) a_j.
std::vector<double> bernstein(const std::vector<double>& power) {
    const size_t n = power.size() - 1;
    std::vector<double> b(n + 1, 0.0);
    for (size_t i = 0; i <= n; ++i) {
        double ratio = 1;  // C(i, j) / C(n, j)
        for (size_t j = 0; j <= i; ++j) {
            b[i] += ratio * power[j];
            ratio *= double(i - j) / double(n - j == 0 ? 1 : n - j);
        }
    }
    return b;
}

// The same polynomial over the left and the right half.
void halve(const std::vector<double>& b, std::vector<double>* left, std::vector<double>* right) {
    std::vector<double> row = b;
    const size_t n = b.size() - 1;
    left->resize(n + 1);
    right->resize(n + 1);
    for (size_t k = 0; k <= n; ++k) {
        (*left)[k] = row.front();
        (*right)[n - k] = row.back();
        for (size_t i = 0; i + 1 < row.size(); ++i) row[i] = 0.5 * (row[i] + row[i + 1]);
        row.pop_back();
    }
}

std::optional<double> firstZeroWithin(const std::vector<double>& b, double low, double high) {
    constexpr double kNarrowest = 1e-14;
    if (std::all_of(b.begin(), b.end(), [](double c) { return c > 0; })) return std::nullopt;
    if (!(b.front() > 0) || high - low < kNarrowest) return low;
    std::vector<double> left, right;
    halve(b, &left, &right);
    const double middle = 0.5 * (low + high);
    if (const auto zero = firstZeroWithin(left, low, middle)) return zero;
    return firstZeroWithin(right, middle, high);
}

}  // namespace

std::optional<double> firstZero(const std::vector<double>& coefficients, double end) {
    if (coefficients.empty()) return 0.0;
    std::vector<double> scaled = coefficients;
    double power = 1;
    for (double& c : scaled) {
        c *= power;
        power *= end;
        // NaN or infinite: nothing can be said of it, so it is good nowhere.
        if (!std::isfinite(c)) return 0.0;
    }
    const auto zero = firstZeroWithin(bernstein(scaled), 0, 1);
    if (!zero) return std::nullopt;
    return *zero * end;
}

}  // namespace plateloom::calib
