// A flat field of light as a lens records it: a lit screen that is not quite even, through the
// lens's shading, on a sensor with dust before it and dead pixels on it.
#pragma once

#include "calib/lens.h"
#include "calib/pose.h"
#include "io/picture.h"

namespace plateloom::world {

struct FlatField {
    double level = 0.5;  ///< recorded in the middle
    /// The screen's light: 1 + tilt . u + u' bend u, u from the screen's middle, 1 where a camera
    /// that faces it square on sees (through a lens without distortion) half its frame's diagonal.
    calib::Vector2d tilt{0, 0};
    Eigen::Matrix2d bend = Eigen::Matrix2d::Zero();
    calib::PanTiltRoll facing;  ///< of the camera, about its entrance pupil; 0: square on
    int dust_spots = 0;         ///< soft, 8 to 40 % deep; where they lie follows from `dust_seed`
    int dead_pixels = 0;        ///< stuck at black or at white
    double noise = 0.004;       ///< as RenderSettings
    double black = 0;           ///< added to everything
    double clips_at = 0;        ///< 0: nowhere
    calib::Vector2d texture{
        0, 0};  ///< strength and width (pixels) of a pattern, for what is not a flat field
    uint32_t seed = 1, dust_seed = 1;
};

[[nodiscard]] io::Picture renderField(const calib::LensMap& lens, const FlatField& field);

}  // namespace plateloom::world
