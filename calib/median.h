// The middle one of some numbers, the upper of two in the middle.
#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

namespace plateloom::calib {

/// 0 where there are none.
[[nodiscard]] inline double median(std::vector<double> values) {
    if (values.empty()) return 0;
    const auto middle = values.begin() + std::ptrdiff_t(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

}  // namespace plateloom::calib
