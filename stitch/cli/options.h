// Options that mean the same in every command.
#pragma once

#include <CLI/CLI.hpp>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "stitch/solve/solve.h"
#include "stitch/take/chunk.h"
#include "stitch/take/take.h"
#include "stitch/view/view_job.h"

namespace plateloom::cli {

struct PlateOptions {
    std::vector<std::string> plates, lens_tracks;
    std::string camera_report, frames, colour_space, working_space, sensor;
    double focal_mm = 0;

    /// `one_picture`: the plates are blended, so they need one set of primaries.
    void addTo(CLI::App& command, bool lens_required, bool one_picture = false);
    /// Throws io::InputError for a range or a size that does not parse.
    [[nodiscard]] stitch::PlateArguments arguments() const;
};

struct SolveOptions {
    std::string level = "auto", north;
    int threads = 0;

    void addTo(CLI::App& command);
    [[nodiscard]] stitch::SolveSettings settings() const;
};

/// Clips: how they were shot, and what ties them in time.
struct TakeOptions {
    std::string clips, sync = "auto";
    std::vector<std::string> offsets;

    void addTo(CLI::App& command);
    /// The plates are clips.
    [[nodiscard]] bool given() const { return !clips.empty(); }
    [[nodiscard]] stitch::TakeArguments arguments(stitch::PlateArguments plates) const;
};

/// A finite number above 0, and any finite one. CLI11's own let NaN pass.
[[nodiscard]] CLI::Validator positiveNumber();
[[nodiscard]] CLI::Validator finiteNumber();
/// --threads N; 0 uses all.
void addThreads(CLI::App& command, int& threads);

/// --frames FIRST-LAST, as `io::parseFrameRange` reads it.
void addFrames(CLI::App& command, std::string& frames, const char* help);

/// --chunk K/N: this machine's part of a job that several share. Whatever is no part of a whole is
/// a fault of the command line.
CLI::Option* addChunk(CLI::App& command, std::string& chunk);
/// What addChunk's option holds; nothing for "".
[[nodiscard]] std::optional<stitch::Chunk> parseChunk(const std::string& text);

/// "36x20.25" or "36": the active area in mm; height 0 when it is not said. Throws io::InputError.
struct SensorSize {
    double width_mm = 0, height_mm = 0;
};
[[nodiscard]] SensorSize parseSensor(const std::string& text);

/// "4096x2160". Throws io::InputError.
[[nodiscard]] stitch::FrameSize parseSize(const std::string& text);

/// "auto" or "" (nothing), or a factor from 1 to 5. Throws io::InputError.
[[nodiscard]] std::optional<double> parseOverscan(const std::string& text);
void addResume(CLI::App& command, bool& resume);
void addUvMaps(CLI::App& command, std::string& folder);

/// "FROM:TO" in degrees of pan; TO below FROM goes on through 180: 150:-150 is 150 to 210. Throws
/// io::InputError.
[[nodiscard]] std::pair<double, double> parsePans(const std::string& option,
                                                  const std::string& text);
/// "LOW:HIGH" in degrees. Throws io::InputError.
[[nodiscard]] std::pair<double, double> parseBand(const std::string& option,
                                                  const std::string& text);

}  // namespace plateloom::cli
