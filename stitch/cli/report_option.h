// --report DIR: the page for people, the same in every command that has it.
#pragma once

#include <CLI/CLI.hpp>
#include <memory>
#include <string>

#include "stitch/cli/commands.h"
#include "stitch/report/report.h"

namespace plateloom::cli {

struct ReportOption {
    std::string folder;

    void addTo(CLI::App& command);
    /// Before the work: nothing when no report is asked for. Throws io::RoomError when it could not
    /// be written.
    [[nodiscard]] std::unique_ptr<stitch::JobReport> begin() const;
    /// After it, once the exit status is known. `report` may be null. Throws io::RoomError.
    void write(const std::string& command, const Run& run, stitch::JobReport* report) const;
};

/// Solve and stitch of clips make no page. Throws io::InputError when one is asked for.
void refuseForClips(const ReportOption& report);

}  // namespace plateloom::cli
