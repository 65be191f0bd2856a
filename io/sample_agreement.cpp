#include "io/sample_agreement.h"

#include <cmath>

namespace plateloom::io {

namespace {

bool close(double a, double b) {
    return std::abs(a - b) <= 1e-9 * (1 + std::abs(a));
}

bool sameLens(const calib::Lens& a, const calib::Lens& b) {
    bool same = close(a.focal_mm, b.focal_mm) && close(a.shading.a1, b.shading.a1) &&
                close(a.shading.a2, b.shading.a2) && close(a.shading.a3, b.shading.a3) &&
                a.distortion.direction == b.distortion.direction &&
                a.distortion.radial == b.distortion.radial &&
                a.distortion.tangential == b.distortion.tangential;
    for (int i = 0; i < 2; ++i)
        same = same && close(a.distortion_offset_mm[i], b.distortion_offset_mm[i]) &&
               close(a.projection_offset_mm[i], b.projection_offset_mm[i]);
    return same;
}

}  // namespace

bool agree(const LensSample& a, const LensSample& b) {
    constexpr double kNoise_deg = 0.5;
    if (!sameLens(a.lens, b.lens) || a.sensor_width_mm != b.sensor_width_mm) return false;
    if (!a.pose || !b.pose) return true;
    return calib::angleBetween_deg(calib::worldFromCamera(*a.pose),
                                   calib::worldFromCamera(*b.pose)) < kNoise_deg;
}

}  // namespace plateloom::io
