// How near a solve and a panorama come to the truth of a rendered shoot.
//
// A solve is free to turn as a whole, so its orientations are first brought onto the true ones by
// one rotation. A panorama is free in exposure as a whole, so each channel gets one factor; the
// true panorama is rendered at the solve's own turn, pixel for pixel, so that nothing is resampled.
#pragma once

#include <array>
#include <filesystem>
#include <string>
#include <vector>

#include "io/solve_file.h"
#include "world/shoot.h"

namespace plateloom::world {

struct TruePlate {
    std::string file;
    calib::PanTiltRoll pose;
    double focal_px = 0;
    double exposure = 1;
};
[[nodiscard]] std::vector<TruePlate> truePlates(const Shoot& shoot);
/// As `writeTruePoses` leaves them. Throws io::InputError.
[[nodiscard]] std::vector<TruePlate> readTruePlates(const std::filesystem::path& path);

/// What is needed to render the truth again: truth/scene.json.
void writeScene(const std::filesystem::path& path, const SceneSettings& settings);
[[nodiscard]] SceneSettings readScene(const std::filesystem::path& path);

struct PlateError {
    std::string file, placed_by;
    double rotation_px = 0;     ///< angle times the plate's focal length in pixels
    double focal_ratio = 1;     ///< solved over true
    double exposure_stops = 0;  ///< of gain times true exposure, against the mean of all
};

struct SolveErrors {
    int plates = 0, placed = 0, by_ties = 0;
    std::vector<std::string> missing;   ///< not placed
    std::vector<PlateError> each;       ///< of those placed
    double rms_px = 0, largest_px = 0;  ///< of the plates placed by their ties
    double largest_by_pose_px = 0;
    double rms_exposure_stops = 0;
    calib::Matrix3d truthFromSolve = calib::Matrix3d::Identity();
};
/// Plates are paired by file name. The turn is found from the plates placed by ties.
[[nodiscard]] SolveErrors compareSolve(const std::vector<io::SolvedPlate>& solve,
                                       const std::vector<TruePlate>& truth);

struct LampError {
    double energy_ratio = 0;  ///< light within the lamp and its rim, panorama over truth
    double peak_ratio = 0;
    double radius_px = 0;
};

struct PanoramaErrors {
    double covered = 0;   ///< share of the whole sphere with alpha 1
    Rgb factor{1, 1, 1};  ///< by which the panorama was multiplied
    /// Of |panorama - truth| / (truth + 0.001), over covered pixels evenly spread on the sphere.
    double median = 0, p90 = 0, p99 = 0, largest = 0;
    double far_off = 0;             ///< share more than half off: ghosts, and whatever moved
    double log_rms_stops = 0;       ///< of log2 of the ratio, 0.001 added to both
    double log_rms_near_stops = 0;  ///< of what is within a stop: without whatever moved
    std::vector<LampError> lamps;   ///< those wholly in the picture and not hidden
    double worst_lamp = 0;  ///< largest |energy_ratio - 1| of lamps three pixels wide or more
};
/// `panorama` is latlong, RGBA or RGB; `truth` RGB of the same size and turn.
[[nodiscard]] PanoramaErrors comparePanorama(const io::Picture& panorama, const io::Picture& truth,
                                             const Scene& scene,
                                             const calib::Matrix3d& truthFromPanorama);

/// The error that comparePanorama counts, a picture to look at; holes are 0.
[[nodiscard]] io::Picture relativeErrors(const io::Picture& panorama, const io::Picture& truth,
                                         const Rgb& factor);

/// The true panorama at a solve's turn, seen from the origin; without a time the square is empty.
[[nodiscard]] io::Picture truePanorama(const Scene& scene, int width,
                                       const calib::Matrix3d& truthFromPanorama,
                                       std::optional<double> time_s = std::nullopt);

/// Reads a panorama as RGBA, made smaller by a whole factor (areas averaged, by alpha) until it is
/// no wider than `widest`.
[[nodiscard]] io::Picture readPanorama(const std::filesystem::path& path, int widest);

}  // namespace plateloom::world
