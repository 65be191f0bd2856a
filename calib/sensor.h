// The sensor's active area and the pixels laid over it.
//
// Positions on the sensor are millimetres from the centre of the active area, x right, y down.
// Positions in the picture are pixels: pixel (i, j) covers [i, i+1) x [j, j+1), so its centre is at
// (i + 0.5, j + 0.5) and the middle of the picture is at (width_px / 2, height_px / 2).
#pragma once

#include <Eigen/Core>
#include <cmath>

namespace plateloom::calib {

using Eigen::Matrix3d;
using Eigen::Vector2d;
using Eigen::Vector3d;

struct Sensor {
    double width_mm = 0;
    double height_mm = 0;
    int width_px = 0;
    int height_px = 0;

    [[nodiscard]] double mmPerPixelX() const { return width_mm / width_px; }
    [[nodiscard]] double mmPerPixelY() const { return height_mm / height_px; }
    [[nodiscard]] double halfDiagonal_mm() const {
        return 0.5 * std::sqrt(width_mm * width_mm + height_mm * height_mm);
    }
};

[[nodiscard]] inline Vector2d mmFromPixel(const Sensor& sensor, const Vector2d& pixel) {
    return {(pixel.x() - 0.5 * sensor.width_px) * sensor.mmPerPixelX(),
            (pixel.y() - 0.5 * sensor.height_px) * sensor.mmPerPixelY()};
}

[[nodiscard]] inline Vector2d pixelFromMm(const Sensor& sensor, const Vector2d& mm) {
    return {mm.x() / sensor.mmPerPixelX() + 0.5 * sensor.width_px,
            mm.y() / sensor.mmPerPixelY() + 0.5 * sensor.height_px};
}

/// Full angle of view in degrees of `extent_mm` centred on the axis at `focal_mm`, without
/// distortion: 2 atan(extent / 2F).
[[nodiscard]] double angleOfView_deg(double extent_mm, double focal_mm);

}  // namespace plateloom::calib
