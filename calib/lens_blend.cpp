#include "calib/lens_blend.h"

#include <Eigen/Geometry>
#include <cassert>
#include <cmath>

namespace plateloom::calib {

namespace {

// Exact at both ends.
double between(double a, double b, double share) {
    return (1 - share) * a + share * b;
}

template <size_t N>
std::array<double, N> between(const std::array<double, N>& a, const std::array<double, N>& b,
                              double share) {
    std::array<double, N> out;
    for (size_t i = 0; i < N; ++i) out[i] = between(a[i], b[i], share);
    return out;
}

using Known = std::optional<double>;

Known linearly(const Known& a, const Known& b, double share) {
    if (!a || !b) return std::nullopt;
    return between(*a, *b, share);
}

// Infinity is a focus distance like any other: 0 in 1/m.
Known inReciprocals(const Known& a, const Known& b, double share) {
    if (!a || !b) return std::nullopt;
    if (*a == *b) return a;
    return 1 / between(1 / *a, 1 / *b, share);
}

Known inStops(const Known& a, const Known& b, double share) {
    if (!a || !b) return std::nullopt;
    if (*a == *b) return a;
    return std::exp2(between(std::log2(*a), std::log2(*b), share));
}

Eigen::Quaterniond quaternion(const PanTiltRoll& pose) {
    return Eigen::Quaterniond(worldFromCamera(pose));
}

}  // namespace

bool canBlend(const Lens& a, const Lens& b) {
    return a.distortion.direction == b.distortion.direction || a.distortion.isNone() ||
           b.distortion.isNone();
}

Lens blendLenses(const Lens& a, const Lens& b, double share) {
    assert(canBlend(a, b) && share >= -4 && share <= 5);
    if (share == 0) return a;
    if (share == 1) return b;
    Lens out;
    out.focal_mm = between(a.focal_mm, b.focal_mm, share);
    out.distortion.direction =
        a.distortion.isNone() ? b.distortion.direction : a.distortion.direction;
    out.distortion.radial = between(a.distortion.radial, b.distortion.radial, share);
    out.distortion.tangential = between(a.distortion.tangential, b.distortion.tangential, share);
    out.distortion_offset_mm =
        (1 - share) * a.distortion_offset_mm + share * b.distortion_offset_mm;
    out.projection_offset_mm =
        (1 - share) * a.projection_offset_mm + share * b.projection_offset_mm;
    out.shading = {between(a.shading.a1, b.shading.a1, share),
                   between(a.shading.a2, b.shading.a2, share),
                   between(a.shading.a3, b.shading.a3, share)};
    out.focus_m = inReciprocals(a.focus_m, b.focus_m, share);
    out.f_stop = inStops(a.f_stop, b.f_stop, share);
    out.t_stop = inStops(a.t_stop, b.t_stop, share);
    out.entrance_pupil_offset_m =
        linearly(a.entrance_pupil_offset_m, b.entrance_pupil_offset_m, share);
    return out;
}

PanTiltRoll blendPoses(const PanTiltRoll& a, const PanTiltRoll& b, double share) {
    if (share == 0) return a;
    if (share == 1) return b;
    const Eigen::Quaterniond between = quaternion(a).slerp(share, quaternion(b)).normalized();
    return panTiltRoll(between.toRotationMatrix());
}

}  // namespace plateloom::calib
