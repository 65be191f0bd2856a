// A picture that was turned by a quarter after it was recorded, so that an upright frame stands
// upright on the screen, while its lens track still speaks of the sensor lying down.
#pragma once

#include "calib/lens.h"

namespace plateloom::stitch {

enum class QuarterTurn {
    clockwise,        ///< for a camera that rolled clockwise (seen from behind), roll about +90
    counterclockwise  ///< roll about -90
};

/// The lens in the turned picture's own axes: (x, y) mm on the sensor is (-y, x) after a clockwise
/// turn. The camera's roll in that picture is 90 degrees less (clockwise) or more.
[[nodiscard]] calib::Lens turned(const calib::Lens& lens, QuarterTurn turn);

}  // namespace plateloom::stitch
