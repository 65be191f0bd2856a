// A lens track: one sample a frame, as OpenTrackIO JSON (an array, or one sample a line; protocol
// versions 0.9.x and 1.0; the static block once or in each sample) or as a CSV with named columns.
//
// CSV columns (units in the names; any order; others are ignored and listed once as a warning):
//   timecode, frame, file, clip, camera, focal_mm, focus_m, t_stop, f_stop, sensor_width_mm,
//   sensor_height_mm, k1 .. k6, p1, p2, model (D-U or U-D), distortion_x_mm, distortion_y_mm,
//   projection_x_mm, projection_y_mm, a1, a2, a3, entrance_pupil_m, pan_deg, tilt_deg, roll_deg,
//   iso, shutter_deg, fps
// A length may also be in another unit, a column's name says which: focus_ft, sensor_width_in,
// focal_m, entrance_pupil_mm; an angle in radians likewise: pan_rad.
//
// Where a sample gives its distortion both ways, the D-U entry is used: it flattens exactly and in
// closed form, and the other direction is then the inverse of the same polynomial.
#pragma once

#include <cstdint>
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
    /// The focal length is the number engraved on the lens: right to a few percent, no better.
    bool focal_is_nominal = false;
    std::optional<double> sensor_width_mm, sensor_height_mm;
    std::optional<int> sensor_width_px, sensor_height_px;
    std::optional<double> iso, shutter_deg;
    std::optional<calib::PanTiltRoll> pose;  ///< rotation of the whole transform chain
    std::optional<calib::Vector3d> translation_m;
    std::optional<Timecode> timecode;
    int sub_frame = 0;  ///< of the timecode: several samples may fall within one frame
    std::optional<FrameRate> frame_rate;
    std::optional<int64_t> frame;  ///< frame number as in file names
    std::string file;              ///< the picture that this sample belongs to, if it names one
    std::string clip;              ///< slate or clip name, if the sample names one
    std::string
        camera;      ///< camera and lens identity, "" if none: samples that share it share a lens
    int line = 0;    ///< where it begins in the file
    int number = 0;  ///< 1 for the file's first sample
};

struct LensTrack {
    std::filesystem::path path;
    std::vector<LensSample> samples;    ///< in the file's order; at least one
    std::vector<std::string> warnings;  ///< things a person should know, e.g. samples out of order
};

/// Throws InputError naming file, line (or sample) and field: text where a number belongs, NaN, a
/// focal length that is not above 0, an unknown distortion model, JSON that does not parse, no
/// samples at all.
[[nodiscard]] LensTrack readLensTrack(const std::filesystem::path& path);

/// "FILE:LINE (sample N)", for a complaint about a sample.
[[nodiscard]] std::string whereIs(const LensTrack& track, const LensSample& sample);

/// A camera report: file, pan_deg, tilt_deg, roll_deg, focal_mm, focus_m, t_stop, iso, shutter_deg,
/// nd_stops; any of them may be missing or empty, only `file` must be there.
struct ReportLine {
    std::string file;
    std::optional<double> pan_deg, tilt_deg, roll_deg, focal_mm, focus_m, t_stop, iso, shutter_deg,
        nd_stops;
    int line = 0;
};
struct CameraReport {
    std::filesystem::path path;
    std::vector<ReportLine> lines;
    std::vector<std::string> warnings;
};
[[nodiscard]] CameraReport readCameraReport(const std::filesystem::path& path);

}  // namespace plateloom::io
