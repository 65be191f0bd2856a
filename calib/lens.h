// A lens as one sample of a lens track describes it: OpenLensIO 1.0 (SMPTE RIS-OSVP).
//
// Projection:  e_u = F (x/z) + dP             flat ("undistorted") position on the sensor, mm
// D-U model:   e_u = U(e_d - dC - dP) + dC + dP        from recorded ("distorted") to flat
// U-D model:   e_d = U(e_u - dC - dP) + dC + dP        from flat to recorded
//     U(x, y) = R (x, y) + (2 p1 x y + p2 (r² + 2x²),  2 p2 x y + p1 (r² + 2y²))
//     R = (1 + k1 r² + k3 r⁴ + k5 r⁶) / (1 + k2 r² + k4 r⁴ + k6 r⁶),      r² = x² + y², all in mm
// Shading:     recorded = scene (1 - (a1 r² + a2 r⁴ + a3 r⁶)),  r in mm from the picture's centre.
//
// A `Lens` is plain values; `LensMap` is a lens made ready to be used over a sensor.
#pragma once

#include <array>
#include <optional>
#include <string>

#include "calib/sensor.h"

namespace plateloom::calib {

enum class DistortionDirection {
    recorded_to_flat,  ///< "Brown-Conrady D-U", and whatever bears no name
    flat_to_recorded   ///< "Brown-Conrady U-D"
};

struct Distortion {
    DistortionDirection direction = DistortionDirection::recorded_to_flat;
    std::array<double, 6> radial{};  ///< k1 .. k6; k_odd above, k_even below the line; mm^-2 ...
    std::array<double, 2> tangential{};  ///< p1, p2; mm^-1

    [[nodiscard]] bool isNone() const {
        return radial == decltype(radial){} && tangential == decltype(tangential){};
    }
};

struct Shading {
    double a1 = 0, a2 = 0, a3 = 0;  ///< mm^-2, mm^-4, mm^-6

    /// Share of the light that arrives at radius r: 1 at the centre.
    [[nodiscard]] double transmission(double r2_mm2) const {
        return 1.0 - r2_mm2 * (a1 + r2_mm2 * (a2 + r2_mm2 * a3));
    }
};

struct Lens {
    double focal_mm = 0;  ///< pinhole focal length F
    Distortion distortion;
    Vector2d distortion_offset_mm = Vector2d::Zero();  ///< dC
    Vector2d projection_offset_mm = Vector2d::Zero();  ///< dP
    Shading shading;
    std::optional<double> focus_m;
    std::optional<double> f_stop;
    std::optional<double> t_stop;
    std::optional<double> entrance_pupil_offset_m;
};

/// U of the formulas above; `point` relative to the distortion centre. Works for ceres::Jet too.
template <class T>
[[nodiscard]] Eigen::Matrix<T, 2, 1> brownConrady(const Distortion& d,
                                                  const Eigen::Matrix<T, 2, 1>& point) {
    const auto& k = d.radial;
    const T x = point.x(), y = point.y();
    const T r2 = x * x + y * y;
    const T above = 1.0 + r2 * (k[0] + r2 * (k[2] + r2 * k[4]));
    const T below = 1.0 + r2 * (k[1] + r2 * (k[3] + r2 * k[5]));
    const T R = above / below;
    const double p1 = d.tangential[0], p2 = d.tangential[1];
    return {R * x + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
            R * y + 2.0 * p2 * x * y + p1 * (r2 + 2.0 * y * y)};
}

/// A lens over a sensor, in both directions. Cheap to make (a few microseconds), immutable, safe to
/// share between threads.
///
/// The polynomial is trusted only on the disc round the distortion centre where it is one-to-one:
/// up to the radius where d(r R)/dr first reaches zero (a little less with tangential terms), or
/// the denominator does. Beyond that the answer is nullopt: such a point is not in the picture, and
/// no point is ever folded back into it. The disc ends at eight half diagonals in any case.
class LensMap {
public:
    LensMap() = default;
    LensMap(const Lens& lens, const Sensor& sensor);

    [[nodiscard]] const Lens& lens() const { return lens_; }
    [[nodiscard]] const Sensor& sensor() const { return sensor_; }

    /// Sensor millimetres to sensor millimetres. The direction that has no closed form is solved by
    /// a safeguarded Newton to 1e-11 mm or better.
    [[nodiscard]] std::optional<Vector2d> flatFromRecorded_mm(const Vector2d& recorded_mm) const;
    [[nodiscard]] std::optional<Vector2d> recordedFromFlat_mm(const Vector2d& flat_mm) const;

    /// Camera ray (unit length) through a recorded pixel position, and back. A ray at 90 degrees or
    /// more from the axis is nullopt. The recorded position may lie outside the picture: see
    /// inPicture.
    [[nodiscard]] std::optional<Vector3d> rayFromRecorded(const Vector2d& recorded_px) const;
    [[nodiscard]] std::optional<Vector2d> recordedFromRay(const Vector3d& ray) const;

    /// The same for flat positions: pixels of an ideal pinhole picture of the same size.
    [[nodiscard]] Vector3d rayFromFlat(const Vector2d& flat_px) const;
    [[nodiscard]] std::optional<Vector2d> flatFromRay(const Vector3d& ray) const;

    [[nodiscard]] bool inPicture(const Vector2d& px) const {
        return px.x() >= 0 && px.y() >= 0 && px.x() <= sensor_.width_px &&
               px.y() <= sensor_.height_px;
    }

    /// recorded = scene * transmission. Not more than 0 means that nothing can be recovered there.
    [[nodiscard]] double transmission(const Vector2d& recorded_px) const {
        return lens_.shading.transmission(mmFromPixel(sensor_, recorded_px).squaredNorm());
    }

    /// Focal length in pixels of the picture (horizontal): pixels per radian on the axis, without
    /// distortion.
    [[nodiscard]] double focal_px() const { return lens_.focal_mm / sensor_.mmPerPixelX(); }

    /// Largest radius (mm, from the distortion centre) at which the polynomial's input is valid.
    [[nodiscard]] double validRadius_mm() const { return valid_radius_mm_; }

private:
    [[nodiscard]] std::optional<Vector2d> forward(const Vector2d& p) const;
    [[nodiscard]] std::optional<Vector2d> inverse(const Vector2d& target) const;

    Lens lens_;
    Sensor sensor_;
    Vector2d centre_mm_ = Vector2d::Zero();  // dC + dP
    double valid_radius_mm_ = 0;             // of the polynomial's input
    double valid_image_mm_ = 0;              // what that radius maps to
    bool none_ = true;
};

/// What makes a lens unusable over this sensor, in a person's words, or nothing: focal length not
/// above 0, a coefficient not finite, a polynomial that folds inside the frame or makes it 1000
/// times larger or smaller, shading that reaches 0 inside the frame.
[[nodiscard]] std::optional<std::string> faultOf(const Lens& lens, const Sensor& sensor);

/// OpenCV's camera matrix, in pixels in its own convention (a pixel's centre has whole
/// coordinates), and its coefficients k1, k2, p1, p2, k3, k4, k5, k6, the rest zero.
struct OpenCvCamera {
    double fx = 0, fy = 0, cx = 0, cy = 0;
    std::array<double, 8> coefficients{};
    int width_px = 0, height_px = 0;
};

/// The same as a lens: U-D, k_i / F^(2i), p_i / F (the tangential terms are quadratic, so one power
/// of F makes millimetres of them). Half a pixel is added to come to our centres. `width_mm` scales
/// everything; the sensor's height follows from fx / fy. Source: OpenCV calib3d, cv::projectPoints.
struct LensOnSensor {
    Lens lens;
    Sensor sensor;
};
[[nodiscard]] LensOnSensor lensFromOpenCv(const OpenCvCamera& camera, double width_mm);

}  // namespace plateloom::calib
