// What the pictures of a prep day need to be said: the same options for charts and flat fields.
#pragma once

#include <CLI/CLI.hpp>
#include <optional>
#include <string>
#include <vector>

#include "stitch/calibrate/prep_pictures.h"
#include "stitch/cli/commands.h"

namespace plateloom::cli {

struct PrepOptions {
    std::vector<std::string> pictures;
    std::string sensor, report, frames, colour_space;
    std::string output, page;  ///< the lens table; the page's folder, or ""
    double focal_mm = 0, focus_m = 0, t_stop = 0;

    /// `what` the pictures show, for the help.
    void addTo(CLI::App& command, const std::string& what);

    /// Throws io::InputError for a range that does not parse.
    [[nodiscard]] stitch::PrepRequest request() const;
    [[nodiscard]] std::optional<double> sensorWidth_mm() const;
    [[nodiscard]] std::optional<double> sensorHeight_mm() const;

    /// What can't or must not be written is found before the work, not after it. Throws
    /// io::OutputRefused, io::RoomError.
    void findOutWhatCanBeWritten(const Run& run) const;
};

/// Nullopt for an option that was not given.
[[nodiscard]] std::optional<double> above0(double value);

}  // namespace plateloom::cli
