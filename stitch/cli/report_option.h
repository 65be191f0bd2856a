// --report DIR: the page for people, the same in every command that has it.
#pragma once

#include <CLI/CLI.hpp>
#include <functional>
#include <memory>
#include <string>

#include "stitch/cli/commands.h"
#include "stitch/report/report.h"
#include "stitch/survey/take_survey.h"

namespace plateloom::cli {

struct ReportOption {
    std::string folder;

    void addTo(CLI::App& command);
    /// The page, when one is asked for.
    void addTo(io::OutputGuard& outputs) const;
    /// Before the work: nothing when no report is asked for. Throws io::RoomError when it could not
    /// be written.
    [[nodiscard]] std::unique_ptr<stitch::JobReport> begin() const;
    /// Where the job puts what a report shows; null when `report` is.
    [[nodiscard]] static stitch::JobRecord* recordOf(stitch::JobReport* report);
    /// After it, once the exit status is known. `report` may be null. Throws io::RoomError.
    void write(const std::string& command, const Run& run, stitch::JobReport* report) const;

    /// The same of a take: before the work, and after it. `survey` makes its survey and is only
    /// asked when there is a page to write. `threads`: 0 uses all.
    void beginTake() const;
    void writeTake(const std::string& command, const Run& run, int threads,
                   const stitch::Take& take, const stitch::TakeSolve& solve,
                   const std::function<stitch::TakeSurvey()>& survey) const;
};

}  // namespace plateloom::cli
