// The optical axis of one lens over its focus settings.
//
// Of all that a chart tells of a lens it tells the axis (dP) least: a camera turned by as much
// hides nearly all of it. But the axis stands where the barrel holds the glass, and focus hardly
// moves it: what all settings say together is better known than what each says by itself.
#pragma once

#include <vector>

#include "calib/lens.h"

namespace plateloom::calib {

struct AxisMeasured {
    double per_focus = 0;                                              ///< 1 / focus distance, 1/m
    Vector2d axis_mm = Vector2d::Zero(), sigma_mm = Vector2d::Ones();  ///< sigma above 0
};

struct AxisOverFocus {
    std::vector<Vector2d> axis_mm, sigma_mm;  ///< one a setting
    /// Squares of what is left of each measured axis, in its sigmas, and how many of them are free:
    /// nearly equal where the sigmas are right and the axis goes as was assumed.
    double chi_square = 0;
    int freedom = 0;

    /// Whether the settings contradict it, by more than three sigma of chi square.
    [[nodiscard]] bool isContradicted() const;
};

/// Weighted least squares, x and y each for itself: one axis for all settings, or one that goes
/// evenly with 1 / focus distance. Needs at least two settings; three, not all of one focus, for
/// the latter.
[[nodiscard]] AxisOverFocus axisOverFocus(const std::vector<AxisMeasured>& measured,
                                          bool goes_with_focus);

}  // namespace plateloom::calib
