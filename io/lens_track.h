// A lens track: one sample a frame, as OpenTrackIO JSON (an array, or one sample a line; protocol
// versions 0.9.x and 1.0; the static block once or in each sample) or as a CSV with named columns.
//
// CSV columns (units in the names; any order; others are ignored and listed once as a warning):
//   timecode, frame, file, clip, focal_mm, focus_m, t_stop, f_stop, sensor_width_mm,
//   sensor_height_mm, k1 .. k6, p1, p2, model (D-U or U-D), distortion_x_mm, distortion_y_mm,
//   projection_x_mm, projection_y_mm, a1, a2, a3, entrance_pupil_m, pan_deg, tilt_deg, roll_deg,
//   fps
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "calib/lens.h"
#include "calib/pose.h"
#include "io/timecode.h"

namespace plateloom::io {

struct LensSample {
    calib::Lens lens;
    bool has_focal = false, has_distortion = false, has_shading = false;
    std::optional<double> sensor_width_mm, sensor_height_mm;
    std::optional<double> iso, shutter_deg;
    std::optional<calib::PanTiltRoll> pose;  ///< rotation of the whole transform chain
    std::optional<calib::Vector3d> translation_m;
    std::optional<Timecode> timecode;
    std::optional<FrameRate> frame_rate;
    std::string clip;  ///< slate, source file or clip name, if the sample names one
    std::string
        camera;    ///< camera and lens identity, "" if none: samples that share it share a lens
    int line = 0;  ///< where it stood in the file (line, or 1-based index in an array)
};

struct LensTrack {
    std::filesystem::path path;
    std::vector<LensSample> samples;    ///< in the file's order
    std::vector<std::string> warnings;  ///< things a person should know, e.g. samples out of order
};

/// Throws InputError naming file, line (or sample) and field: text where a number belongs, NaN, a
/// missing required field, a focal length that is not above 0, JSON that does not parse.
[[nodiscard]] LensTrack readLensTrack(const std::filesystem::path& path);

/// A camera report: file, pan_deg, tilt_deg, roll_deg, focal_mm, focus_m, t_stop, iso, shutter_deg,
/// nd_stops; any of them may be missing or empty, only `file` must be there.
struct ReportLine {
    std::string file;
    std::optional<double> pan_deg, tilt_deg, roll_deg, focal_mm, focus_m, t_stop, iso, shutter_deg,
        nd_stops;
    int line = 0;
};
[[nodiscard]] std::vector<ReportLine> readCameraReport(const std::filesystem::path& path);

}  // namespace plateloom::io
