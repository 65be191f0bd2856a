#include "stitch/cli/commands.h"

#include <cstdlib>
#include <memory>

#include "stitch/cli/help_formatter.h"

namespace plateloom::cli {

io::OutputGuard Run::outputs() const {
    io::OutputGuard guard(overwrite);
    if (config && config->count() > 0) guard.reads(config->as<std::string>());
    if (const char* ocio = std::getenv("OCIO")) guard.reads(ocio);
    return guard;
}

void describeProgram(CLI::App& program, Run& run) {
    program.name("plateloom");
    program.description(
        "Scene-linear panoramas from background plates, each through its own lens, and views of "
        "them with a shot's lens look.");
    program.formatter(std::make_shared<HelpFormatter>());
    program.set_help_flag("-h,--help", "Show this help");
    program.set_version_flag("--version", "plateloom " PLATELOOM_VERSION, "Show the version");
    run.config =
        program.set_config("--config", "", "TOML file with options")->type_name("FILE.toml");
    program.require_subcommand(1);
    program.fallthrough();
    program.add_flag("--json", run.json, "Machine-readable summary on standard output");
    program.add_flag("--overwrite", run.overwrite,
                     "Replace existing outputs that another command made, or that were changed "
                     "since; never an input");
    addPlan(program, run);
    addCheck(program, run);
    addCalibrate(program, run);
    addFlatten(program, run);
    addSolve(program, run);
    addStitch(program, run);
    addView(program, run);
    addUnflatten(program, run);
    for (CLI::App* command : program.get_subcommands({})) command->group("Commands");
}

}  // namespace plateloom::cli
