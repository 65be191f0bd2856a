// SOLVE.jsonl: where every plate looked. One OpenTrackIO sample a plate and line;
// `transforms[0].rotation` is the solved pan, tilt and roll, `lens` the lens as used, and under
// custom.plateloom: file, gain (r g b), gain_sigma_stops, ties, rms_px, sigma_px, placed (false: no
// transform, and why), placed_by; for a clip also what io/solved_clip.h says.
#pragma once

#include <array>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "calib/lens.h"
#include "calib/pose.h"
#include "io/made_mark.h"
#include "io/new_file.h"
#include "io/plate_file.h"
#include "io/solved_clip.h"

namespace plateloom::io {

struct SolvedPlate {
    /// The plate's file name, without its folder; as validUtf8 (shown_text.h) has it once read.
    std::string file;
    bool placed = false;
    std::string placed_by;  ///< "ties" or "pose"
    std::string why_not;    ///< when its ties do not place it
    calib::PanTiltRoll pose;
    calib::Lens lens;
    calib::Sensor sensor;
    std::array<double, 3> gain{1, 1, 1};     ///< linear factor to the common exposure
    std::optional<double> gain_sigma_stops;  ///< one-sigma uncertainty of the gain
    int ties = 0;
    double rms_px = 0;    ///< of its ties, plate pixels
    double sigma_px = 0;  ///< one-sigma uncertainty of its direction at the panorama's scale
    std::optional<uint32_t> timecode_word;
    std::optional<FrameRate> frame_rate;
    std::optional<SolvedClip> clip;  ///< the plate is a clip; `file` is its name with ####
};

void writeSolve(const std::filesystem::path& path, const std::vector<SolvedPlate>& plates,
                Made kind = Made::solve);
/// The same, under its hidden name until it is committed.
[[nodiscard]] std::unique_ptr<NewFile> writeSolveBeside(const std::filesystem::path& path,
                                                        const std::vector<SolvedPlate>& plates,
                                                        Made kind = Made::solve);
/// Throws InputError naming line and field.
[[nodiscard]] std::vector<SolvedPlate> readSolve(const std::filesystem::path& path);

}  // namespace plateloom::io
