// Options that mean the same in every command.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <utility>
#include <vector>

#include "stitch/solve.h"

namespace plateloom::cli {

struct PlateOptions {
    std::vector<std::string> plates, lens_tracks;
    std::string camera_report, frames, colour_space, sensor;
    double focal_mm = 0;

    void addTo(CLI::App& command, bool lens_required);
    /// Throws io::InputError for a range or a size that does not parse.
    [[nodiscard]] stitch::PlateArguments arguments() const;
};

struct SolveOptions {
    std::string level = "auto", north;
    int threads = 0;

    void addTo(CLI::App& command);
    [[nodiscard]] stitch::SolveSettings settings() const;
};

/// "LOW:HIGH" in degrees. Throws io::InputError.
[[nodiscard]] std::pair<double, double> parseBand(const std::string& option,
                                                  const std::string& text);

}  // namespace plateloom::cli
