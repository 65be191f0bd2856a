// Where a polynomial first reaches zero: exactly, without stepping over a narrow dip.
#pragma once

#include <optional>
#include <vector>

namespace plateloom::calib {

/// The smallest x in [0, end] at which c[0] + c[1] x + c[2] x² ... is not above zero, or nullopt
/// when there is none. Good for degrees up to about 20.
///
/// In Bernstein form a polynomial lies within the hull of its coefficients: while all are positive
/// it can't reach zero; otherwise the interval is halved (de Casteljau) and the left half is looked
/// at first. Source: G. Farin, Curves and Surfaces for CAGD (properties of the Bernstein form).
[[nodiscard]] std::optional<double> firstZero(const std::vector<double>& coefficients, double end);

}  // namespace plateloom::calib
