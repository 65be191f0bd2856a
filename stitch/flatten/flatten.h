// A flat plate for whoever wants one: undistorted and unshaded in one resample.
#pragma once

#include "calib/lens.h"
#include "io/plate_file.h"
#include "stitch/resample/overscan.h"

namespace plateloom::stitch {

enum class Fit {
    overscan,  ///< the data window grows so that no recorded pixel is lost
    inside     ///< the data window is the display window
};

/// The data window of a flat plate. Overscan is bounded at 2x the frame on each side; `clamped`
/// says so.
[[nodiscard]] PixelBounds flatBounds(const calib::LensMap& lens, Fit fit, bool* clamped);

struct FlatPlate {
    io::Picture picture;  ///< RGBA, associated
    io::DataWindow window;
};

/// The flat plate has the recorded one's focal length and pixel pitch; its display window is the
/// recorded frame.
[[nodiscard]] FlatPlate flattenPlate(const io::PlatePixels& plate, const calib::LensMap& lens,
                                     Fit fit, bool* clamped);

}  // namespace plateloom::stitch
