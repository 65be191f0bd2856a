// Primaries of RGB light: which red, green, blue and white the three numbers of a pixel stand for,
// and the matrix from one set to another.
//
// Chromaticities are x and y (CIE 1931) of red, green, blue and white, eight numbers as EXR's
// attribute has them. The matrix to XYZ follows SMPTE RP 177-1993: the columns are the primaries'
// XYZ, scaled so that R = G = B = 1 gives white with Y = 1. Between sets of different white, white
// is adapted with the linear Bradford matrix (ICC.1:2022, Annex E), so that grey stays grey.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <vector>

#include "calib/sensor.h"

namespace plateloom::io {

using Chromaticities = std::vector<float>;

/// ITU-R BT.709-6, BT.2020-2; SMPTE EG 432-1 with white D65 (P3); Academy S-2014-004 (ACES AP1) and
/// SMPTE ST 2065-1 (AP0).
namespace primaries {
inline const Chromaticities kRec709{0.64f, 0.33f, 0.30f, 0.60f, 0.15f, 0.06f, 0.3127f, 0.3290f};
inline const Chromaticities kRec2020{0.708f, 0.292f, 0.170f,  0.797f,
                                     0.131f, 0.046f, 0.3127f, 0.3290f};
inline const Chromaticities kP3D65{0.680f, 0.320f, 0.265f,  0.690f,
                                   0.150f, 0.060f, 0.3127f, 0.3290f};
inline const Chromaticities kAp1{0.713f, 0.293f, 0.165f,   0.830f,
                                 0.128f, 0.044f, 0.32168f, 0.33767f};
inline const Chromaticities kAp0{0.7347f, 0.2653f, 0.0f,     1.0f,
                                 0.0001f, -0.077f, 0.32168f, 0.33767f};
}  // namespace primaries

/// Nothing for values that no light has (a white without y, primaries on one line).
[[nodiscard]] std::optional<calib::Matrix3d> xyzFromRgb(const Chromaticities& rgb);

/// RGB of `to` from RGB of `from`; nothing where one of the two is unusable.
[[nodiscard]] std::optional<calib::Matrix3d> rgbFromRgb(const Chromaticities& to,
                                                        const Chromaticities& from);

/// Equal but for the rounding of headers.
[[nodiscard]] bool same(const Chromaticities& a, const Chromaticities& b);

/// "Rec. 709", or the numbers where the set has no name here.
[[nodiscard]] std::string inWords(const Chromaticities& rgb);

}  // namespace plateloom::io
