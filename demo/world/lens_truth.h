// Solved lenses against true ones, and what of the difference a panorama shows.
//
// A camera's own turn and its lens trade with each other: with an optical axis that is wrong by a
// pixel every camera comes out turned by a pixel, and every picture lies where it lay. So beside
// where a camera looks stands where each of its pixels looks.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "io/solve_file.h"
#include "world/shoot.h"

namespace plateloom::world {

struct TrueCamera {
    std::string file;
    calib::PanTiltRoll pose;
    calib::Lens lens;
    calib::Sensor sensor;
};
[[nodiscard]] std::vector<TrueCamera> trueCameras(const Shoot& shoot);

/// truth/cameras.csv: file, pan_deg, tilt_deg, roll_deg, sensor_width_mm, sensor_height_mm,
/// width_px, height_px, model (D-U or U-D), focal_mm, k1 .. k6, p1, p2, distortion_x_mm,
/// distortion_y_mm, projection_x_mm, projection_y_mm; every digit.
void writeTrueCameras(const std::filesystem::path& path, const Shoot& shoot);
/// Throws io::InputError.
[[nodiscard]] std::vector<TrueCamera> readTrueCameras(const std::filesystem::path& path);

/// Pixels are recorded ones on the axis: an angle times the true focal length in pixels.
struct PictureError {
    std::string file;
    /// Between where each recorded pixel truly looks and where it is solved to look, over the
    /// frame.
    double rms_px = 0, largest_px = 0;
    /// Of the lens alone: the turn that brings its picture best onto the true lens's, which no
    /// panorama shows; the focal length over the true one once it is so turned and sized; and what
    /// is then left, over the frame and in the worst of the frame's corners.
    double turn_px = 0, size_ratio = 1, left_rms_px = 0, left_corner_px = 0;
    /// The angle from corner to corner along the worse diagonal, against the true one.
    double diagonal_px = 0;
};

struct PictureErrors {
    std::vector<PictureError> each;     ///< of the plates placed by their ties
    double rms_px = 0, largest_px = 0;  ///< over frames and plates
    double turn_rms_px = 0, left_rms_px = 0, left_corner_px = 0, diagonal_px = 0;
};

/// After the one turn of the whole that brings the directions of all pixels best onto the true
/// ones. Plates are paired by file name; a true camera without a solved plate is left out.
[[nodiscard]] PictureErrors comparePictures(const std::vector<io::SolvedPlate>& solve,
                                            const std::vector<TrueCamera>& truth);

}  // namespace plateloom::world
