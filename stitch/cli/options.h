// Options that mean the same in every command.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

#include "stitch/cli/option_values.h"
#include "stitch/clips/take.h"
#include "stitch/solve/solve.h"

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

/// Groups of the help, by purpose; what is in none comes first.
inline constexpr const char* kLens = "Lens and sensor";
inline constexpr const char* kSolve = "Solve";
inline constexpr const char* kClips = "Clips";
inline constexpr const char* kOutput = "Output";

/// --threads N; 0 uses all.
void addThreads(CLI::App& command, int& threads);
/// `when` follows the noun phrase.
void addSensor(CLI::App& command, std::string& sensor, const std::string& when = "");
void addFocal(CLI::App& command, double& focal_mm, const std::string& when = "");
CLI::Option* addNearest(CLI::App& command, double& nearest_m, const std::string& why);
CLI::Option* addDepth(CLI::App& command, std::string& depth, const std::string& help);

/// --frames FIRST-LAST, as `io::parseFrameRange` reads it.
void addFrames(CLI::App& command, std::string& frames, const char* help);

/// --chunk K/N: this machine's part of a job that several share, see parseChunk. Whatever is no
/// part of a whole is a fault of the command line.
CLI::Option* addChunk(CLI::App& command, std::string& chunk);
CLI::Option* addResume(CLI::App& command, bool& resume);
void addUvMaps(CLI::App& command, std::string& folder);

}  // namespace plateloom::cli
