// Values of options: what they may be, and what their text means.
#pragma once

#include <CLI/CLI.hpp>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "stitch/job/chunk.h"
#include "stitch/view/view_job.h"

namespace plateloom::cli {

/// A finite number above 0. CLI11's own lets NaN pass.
[[nodiscard]] CLI::Validator positiveNumber();
/// A whole number from `low` to `high`.
[[nodiscard]] CLI::Validator wholeNumber(int64_t low, int64_t high);
/// One of `words`; the help shows them in place of the value.
CLI::Option* oneOf(CLI::Option* option, const std::vector<std::string>& words);
/// Lengths in another unit become metres: "12ft", "30in", "80cm", "900mm"; "inf" and "infinity" the
/// distance that stands for it (calib/focus.h). Other text passes, for the next check to refuse.
[[nodiscard]] CLI::Validator asMetres();
/// The same for "12ft" and "CAM1:CAM2=12ft"; infinity stays a word.
[[nodiscard]] CLI::Validator seamAsMetres();

// The functions below throw io::OptionError for what does not parse.

/// "36x20.25" or "36": the active area in mm; height 0 when it is not given.
struct SensorSize {
    double width_mm = 0, height_mm = 0;
};
[[nodiscard]] SensorSize parseSensor(const std::string& text);

/// "4096x2160".
[[nodiscard]] stitch::FrameSize parseSize(const std::string& text);

/// "auto" or "" (nothing), or a factor from 1 to 5.
[[nodiscard]] std::optional<double> parseOverscan(const std::string& text);

/// "PAN,TILT" or "PAN,TILT,ROLL" in degrees.
[[nodiscard]] calib::PanTiltRoll parsePose(const std::string& text);

/// --pan FROM:TO in degrees; TO below FROM goes on through 180: 150:-150 is 150 to 210.
[[nodiscard]] std::pair<double, double> parsePans(const std::string& text);
/// --tilt LOW:HIGH in degrees.
[[nodiscard]] std::pair<double, double> parseTilts(const std::string& text);

/// "2/4"; nothing where that is no part of a whole.
[[nodiscard]] std::optional<stitch::Chunk> parseChunk(const std::string& text);

}  // namespace plateloom::cli
