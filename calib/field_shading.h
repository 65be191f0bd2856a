// A lens's shading out of pictures of a flat field of light.
//
// What a cell of picture k, taken at setting s, holds is
//     light = level_k * lamp_k(p) * (1 - (a1 r² + a2 r⁴ + a3 r⁶))_s
// The lamp is never quite even: it is a low polynomial of the place. Its tilt, what is left of it
// in the third degree, and its saddle change sign when the picture is turned (by a half, by a
// quarter): they are no function of r and are told from shading by any one picture. Its bow, which
// is alike in all directions, is not: with pictures that all face the same way it goes into a1
// whatever is done, so it is taken to be zero and `bow_separated` is false. Where the directions
// that the camera faced are known and differ, every picture shows the same lamp moved by a known
// way, and the bow is found with the rest.
//
// Fitted in logarithms, so that a cell counts by its relative error, with Tukey's biweight (Beaton
// and Tukey, Technometrics 16, 1974) against dust. The number of terms is the smallest whose error
// in cells left out is within one standard error of the best (Hastie, Tibshirani and Friedman, The
// Elements of Statistical Learning, 7.10).
#pragma once

#include <optional>
#include <vector>

#include "calib/lens.h"
#include "calib/pose.h"

namespace plateloom::calib {

struct FieldCell {
    Vector2d mm = Vector2d::Zero();       ///< on the sensor, from the picture's centre
    Vector2d flat_mm = Vector2d::Zero();  ///< the same flattened, if geometry is known, else equal
    double light = 0;                     ///< linear; what is not above 0 is left out
};

struct FieldPicture {
    int setting = 0;  ///< counted from 0; pictures of one setting share its shading
    std::vector<FieldCell> cells;
    std::optional<PanTiltRoll> facing;  ///< of the camera, about its entrance pupil
};

/// 1 + tilt . u + saddle_x (u_x² - u_y²) + saddle_xy 2 u_x u_y + skew . u |u|² + bow |u|², u in
/// units of the reach, u a place on the lamp.
struct Lamp {
    Vector2d tilt = Vector2d::Zero();
    double saddle_x = 0, saddle_xy = 0;
    Vector2d skew = Vector2d::Zero();  ///< of a picture's own lamp
    double bow = 0;                    ///< of a lamp that several pictures share

    [[nodiscard]] double at(const Vector2d& u) const {
        return 1 + (tilt + skew * u.squaredNorm()).dot(u) +
               saddle_x * (u.x() * u.x() - u.y() * u.y()) + 2 * saddle_xy * u.x() * u.y() +
               bow * u.squaredNorm();
    }
    [[nodiscard]] Vector2d slope(const Vector2d& u) const {
        return tilt + skew * u.squaredNorm() + 2 * u * skew.dot(u) +
               2 * saddle_x * Vector2d(u.x(), -u.y()) + 2 * saddle_xy * Vector2d(u.y(), u.x()) +
               2 * bow * u;
    }
};

struct FittedPicture {
    double level = 0;  ///< light in the middle of the picture, were the lamp's polynomial 1 there
    Lamp lamp;
    std::vector<Vector2d> on_lamp;  ///< u of each cell
    std::vector<double> residual;   ///< ln(measured / fitted) of each cell; NaN without light
    std::vector<uint8_t> used;      ///< 0: thrown out as dust or the like
    double rms = 0;                 ///< of the used cells
};

struct ShadingFit {
    std::vector<Shading> shading;      ///< one a setting
    std::vector<double> corner_sigma;  ///< one-sigma of each setting's transmission at the reach
    std::vector<FittedPicture> pictures;
    int terms = 0;
    std::array<double, 3> held_out{};  ///< RMS of cells left out, with one, two and three terms
    bool bow_separated = false;
    double rms = 0;
};

/// `reach_mm`: half the sensor's diagonal. `focal_mm`: for the way that a turn of the camera moves
/// the lamp. Every setting needs a picture, every picture at least 50 cells with light.
[[nodiscard]] ShadingFit fitShading(const std::vector<FieldPicture>& pictures, int settings,
                                    double focal_mm, double reach_mm);

/// The share of light that a simple lens without vignetting sends to a flat distance from the axis:
/// the cosine-fourth law (W. J. Smith, Modern Optical Engineering, "Cosine-to-the-fourth").
[[nodiscard]] double cosineFourth(double flat_mm, double focal_mm);

}  // namespace plateloom::calib
