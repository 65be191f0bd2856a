#include "stitch/cli/commands.h"

namespace plateloom::cli {

void addCalibrate(CLI::App& program, Run& run) {
    auto* command =
        program.add_subcommand("calibrate", "A lens table from pictures taken on prep day");
    command->require_subcommand(1);
    command->fallthrough();
    addCalibrateChart(*command, run);
    addCalibrateShading(*command, run);
    for (CLI::App* measurement : command->get_subcommands({})) measurement->group("Commands");
}

}  // namespace plateloom::cli
