// A lens that is focused at infinity: its distance is so large a number that arithmetic goes on,
// and people are told the word.
#pragma once

#include <algorithm>
#include <string>

#include "calib/said.h"

namespace plateloom::calib {

/// Metres that stand for infinity in memory and in files that have no word for it (JSON).
constexpr double kFocusAtInfinity_m = 1e6;

/// A distance above 0 as it was read, infinite or not.
[[nodiscard]] inline double focusDistance(double metres) {
    return std::min(metres, kFocusAtInfinity_m);
}

/// From 100 km on a lens is said to be focused at infinity.
[[nodiscard]] inline bool isAtInfinity(double focus_m) {
    return !(focus_m < 0.1 * kFocusAtInfinity_m);
}

/// "2.5 m", "infinity".
[[nodiscard]] inline std::string focusInWords(double focus_m) {
    return isAtInfinity(focus_m) ? "infinity" : said("%.3g m", focus_m);
}

/// "2 to 3 m", "2 m to infinity".
[[nodiscard]] inline std::string focusSpanInWords(double from_m, double to_m) {
    return isAtInfinity(from_m) || isAtInfinity(to_m)
               ? focusInWords(from_m) + " to " + focusInWords(to_m)
               : said("%.3g to %.3g m", from_m, to_m);
}

}  // namespace plateloom::calib
