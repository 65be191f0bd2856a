#include "stitch/resample/panorama_grid.h"

#include <cmath>

#include "calib/angle.h"

namespace plateloom::stitch {

namespace {
using calib::kPi;
}

calib::Vector3d PanoramaGrid::directionAt(double x, double y) const {
    const double pan = kPi - 2.0 * kPi * x / width;
    if (projection == Projection::equirectangular) {
        const double tilt = 0.5 * kPi - kPi * y / height;
        const double level = std::cos(tilt);
        return {-std::sin(pan) * level, std::cos(pan) * level, std::sin(tilt)};
    }
    const double rise = top_tan + (bottom_tan - top_tan) * y / height;
    return calib::Vector3d(-std::sin(pan), std::cos(pan), rise).normalized();
}

calib::Vector2d PanoramaGrid::pixelOf(const calib::Vector3d& direction) const {
    const double pan = std::atan2(-direction.x(), direction.y());
    double x = width * (kPi - pan) / (2.0 * kPi);
    if (x >= width) x -= width;
    const double level = std::hypot(direction.x(), direction.y());
    if (projection == Projection::equirectangular) {
        const double tilt = std::atan2(direction.z(), level);
        return {x, height * (0.5 * kPi - tilt) / kPi};
    }
    const double rise = direction.z() / level;
    return {x, height * (rise - top_tan) / (bottom_tan - top_tan)};
}

}  // namespace plateloom::stitch
