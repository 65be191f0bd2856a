#include "stitch/cli/commands.h"

namespace plateloom::cli {

void addCalibrate(CLI::App& program, Run& run) {
    auto* command =
        program.add_subcommand("calibrate", "Measure a lens from pictures taken on prep day");
    command->require_subcommand(1);
    command->fallthrough();
    addCalibrateChart(*command, run);
    addCalibrateShading(*command, run);
}

}  // namespace plateloom::cli
