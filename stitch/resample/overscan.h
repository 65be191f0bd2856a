// How far a flat picture has to reach beyond the frame so that the recorded one can be made of it.
#pragma once

#include "calib/lens.h"

namespace plateloom::stitch {

/// Whole pixels [x0, x1) x [y0, y1) against the frame's upper left corner; negative is overscan.
struct PixelBounds {
    int x0 = 0, y0 = 0, x1 = 0, y1 = 0;

    [[nodiscard]] int width() const { return x1 - x0; }
    [[nodiscard]] int height() const { return y1 - y0; }
    bool operator==(const PixelBounds&) const = default;
};

[[nodiscard]] PixelBounds wholeFrame(const calib::Sensor& sensor);

/// The frame and every flat pixel that some recorded position falls on, and `margin_px` more on
/// each side that it reaches beyond. Bounded at 2x the frame on each side; `clamped` says so.
[[nodiscard]] PixelBounds overscanBounds(const calib::LensMap& lens, bool* clamped,
                                         int margin_px = 0);

/// The frame made larger about its middle by `factor`, to whole pixels outward.
[[nodiscard]] PixelBounds enlargedFrame(const calib::Sensor& sensor, double factor);

}  // namespace plateloom::stitch
