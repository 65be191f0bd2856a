#include <glog/logging.h>

#include <cstdio>
#include <exception>
#include <new>
#include <nlohmann/json.hpp>

#include "io/input_error.h"
#include "io/new_file.h"
#include "stitch/cli/commands.h"
#include "stitch/cli/terminal.h"

namespace plateloom::cli {

namespace {

// One line for people; with --json the machine hears the same.
int fail(const Run& run, ExitStatus status, const std::string& message) {
    say("plateloom: " + message);
    if (run.json)
        std::printf("%s\n",
                    nlohmann::json{{"status", int(status)}, {"error", message}}.dump().c_str());
    return status;
}

int runProgram(int argc, char** argv) {
    CLI::App program("Background plates to a scene-linear panorama, through each plate's own lens.",
                     "plateloom");
    program.set_version_flag("--version", "plateloom " PLATELOOM_VERSION);
    program.set_config("--config", "", "Options from a TOML file");
    program.require_subcommand(1);
    program.fallthrough();
    Run run;
    program.add_flag("--json", run.json, "A machine-readable summary on standard output");
    addCalibrate(program, run);
    addCheck(program, run);
    addPlan(program, run);
    addFlatten(program, run);
    addSolve(program, run);
    addStitch(program, run);
    addView(program, run);
    addUnflatten(program, run);
    try {
        program.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        return error.get_exit_code() == 0 ? program.exit(error)
                                          : (program.exit(error), command_line);
    } catch (const io::InputError& error) {
        return fail(run, bad_input, error.what());
    } catch (const io::RoomError& error) {
        return fail(run, no_room, error.what());
    } catch (const std::bad_alloc&) {
        return fail(run, no_room, "out of memory; try fewer threads or a smaller --width");
    } catch (const std::exception& error) {
        return fail(run, bad_input, std::string("could not go on: ") + error.what());
    }
    return run.status;
}

}  // namespace

}  // namespace plateloom::cli

int main(int argc, char** argv) {
    // The solver's library logs to standard error on its own; what matters is told in our words.
    FLAGS_minloglevel = google::GLOG_FATAL;
    plateloom::io::installSignalCleanup();
    return plateloom::cli::runProgram(argc, argv);
}
