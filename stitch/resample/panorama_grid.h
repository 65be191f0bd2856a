// The panorama's pixels and the directions that they stand for.
//
// Equirectangular (OpenEXR latlong, pixels as areas): longitude = pan = 180 - 360 (i + 0.5) / W,
// latitude = 90 - 180 (j + 0.5) / H. Cylindrical: the same pan; rows are linear in tan(tilt),
// symmetric pixels, H rows from tan(top) to tan(bottom).
#pragma once

#include "calib/sensor.h"

namespace plateloom::stitch {

enum class Projection { equirectangular, cylindrical };

struct PanoramaGrid {
    Projection projection = Projection::equirectangular;
    int width = 0, height = 0;
    double top_tan = 1,
           bottom_tan = -1;  ///< cylindrical only: tan(tilt) at the upper and lower edge

    /// Unit vector in the world for a pixel position (centres at +0.5). x may lie outside [0, W):
    /// it wraps.
    [[nodiscard]] calib::Vector3d directionAt(double x, double y) const;
    /// The inverse; x in [0, W).
    [[nodiscard]] calib::Vector2d pixelOf(const calib::Vector3d& direction) const;
    [[nodiscard]] double pixelsPerRadian() const { return width / 6.283185307179586; }
};

}  // namespace plateloom::stitch
