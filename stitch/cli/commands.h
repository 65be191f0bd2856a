// The commands. Each adds itself to the program; its callback returns through `Run::status`.
#pragma once

#include <CLI/CLI.hpp>

#include "io/output_guard.h"
#include "stitch/cli/exit_status.h"

namespace plateloom::cli {

/// What every command shares once it runs.
struct Run {
    bool json = false, overwrite = false;
    const CLI::Option* config = nullptr;
    ExitStatus status = done;

    /// The rule for outputs, with the files that every command reads: --config and $OCIO.
    [[nodiscard]] io::OutputGuard outputs() const;
};

/// The whole program: what it and its commands accept.
void describeProgram(CLI::App& program, Run& run);

void addCalibrate(CLI::App& program, Run& run);
void addCalibrateChart(CLI::App& calibrate, Run& run);
void addCalibrateShading(CLI::App& calibrate, Run& run);
void addCheck(CLI::App& program, Run& run);
void addFlatten(CLI::App& program, Run& run);
void addPlan(CLI::App& program, Run& run);
void addSolve(CLI::App& program, Run& run);
void addStitch(CLI::App& program, Run& run);
void addView(CLI::App& program, Run& run);
void addUnflatten(CLI::App& program, Run& run);

}  // namespace plateloom::cli
