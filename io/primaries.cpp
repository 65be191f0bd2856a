#include "io/primaries.h"

#include <Eigen/LU>
#include <cmath>
#include <cstdio>

namespace plateloom::io {

namespace {

using calib::Matrix3d;
using calib::Vector3d;

std::optional<Vector3d> xyzOf(double x, double y) {
    constexpr double kLeast = 1e-6;
    if (!std::isfinite(x) || !std::isfinite(y) || std::abs(y) < kLeast) return std::nullopt;
    return Vector3d(x / y, 1, (1 - x - y) / y);
}

// ICC.1:2022, Annex E: the linear Bradford matrix, to responses of the three kinds of cones.
Matrix3d bradford() {
    Matrix3d cones;
    cones << 0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296;
    return cones;
}

std::optional<Vector3d> whiteOf(const Chromaticities& rgb) {
    if (rgb.size() != 8) return std::nullopt;
    return xyzOf(rgb[6], rgb[7]);
}

}  // namespace

std::optional<Matrix3d> xyzFromRgb(const Chromaticities& rgb) {
    const auto white = whiteOf(rgb);
    if (!white) return std::nullopt;
    // A blue of negative y (AP0) is as good as any: columns need no Y of 1 before they are scaled.
    Matrix3d columns;
    for (int c = 0; c < 3; ++c) {
        const double x = rgb[size_t(2 * c)], y = rgb[size_t(2 * c + 1)];
        columns.col(c) = Vector3d(x, y, 1 - x - y);
    }
    constexpr double kLeastArea = 1e-4;
    if (!columns.allFinite() || std::abs(columns.determinant()) < kLeastArea) return std::nullopt;
    const Vector3d scales = columns.inverse() * *white;
    return Matrix3d(columns * scales.asDiagonal());
}

std::optional<Matrix3d> rgbFromRgb(const Chromaticities& to, const Chromaticities& from) {
    const auto xyz_from = xyzFromRgb(from), xyz_to = xyzFromRgb(to);
    if (!xyz_from || !xyz_to) return std::nullopt;
    const Matrix3d cones = bradford();
    const Vector3d white_from = cones * *whiteOf(from), white_to = cones * *whiteOf(to);
    const Matrix3d adapted =
        cones.inverse() * white_to.cwiseQuotient(white_from).asDiagonal() * cones;
    return Matrix3d(xyz_to->inverse() * adapted * *xyz_from);
}

bool same(const Chromaticities& a, const Chromaticities& b) {
    constexpr float kRounding = 6e-4f;  // headers hold three or four digits
    if (a.size() != b.size()) return false;
    for (size_t i = 0; i < a.size(); ++i)
        if (!(std::abs(a[i] - b[i]) <= kRounding)) return false;
    return true;
}

std::string inWords(const Chromaticities& rgb) {
    using namespace primaries;
    if (same(rgb, kRec709)) return "Rec. 709";
    if (same(rgb, kRec2020)) return "Rec. 2020";
    if (same(rgb, kP3D65)) return "P3 D65";
    if (same(rgb, kAp1)) return "ACES AP1";
    if (same(rgb, kAp0)) return "ACES AP0";
    std::string words = "x, y";
    char number[24];
    for (size_t i = 0; i < rgb.size(); ++i) {
        std::snprintf(number, sizeof number, i % 2 ? ", %.4g" : " %.4g", double(rgb[i]));
        words += number;
    }
    return words;
}

}  // namespace plateloom::io
