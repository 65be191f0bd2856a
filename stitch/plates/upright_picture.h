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

/// The same for `quarter_turn` of a plate: 1 clockwise, -1 counterclockwise, 0 none.
[[nodiscard]] calib::Lens turned(const calib::Lens& lens, int quarter_turn);
/// A vector of the sensor's plane in the axes of the picture as it was recorded.
[[nodiscard]] calib::Vector2d turnedBack(const calib::Vector2d& upright, int quarter_turn);
/// From the axes of the camera as it was held to those of the upright picture.
[[nodiscard]] calib::Matrix3d uprightFromRecorded(int quarter_turn);

}  // namespace plateloom::stitch
