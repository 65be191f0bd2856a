#include <cstdio>
#include <memory>

#include "io/solve_file.h"
#include "stitch/cli/commands.h"
#include "stitch/cli/options.h"
#include "stitch/cli/summary.h"
#include "stitch/cli/terminal.h"
#include "stitch/stitch_job.h"

namespace plateloom::cli {

namespace {

struct Options {
    PlateOptions plates;
    SolveOptions solve;
    std::string output;
};

void solve(const Options& options, Run& run) {
    ProgressBar bar;
    const auto result = stitch::solveJob(
        {options.plates.arguments(), options.solve.settings(), options.solve.north},
        bar.callback());
    io::writeSolve(options.output, result.plates);
    bar.wipe();
    tell(result);
    say("wrote " + options.output);
    run.status = statusOf(result);
    if (!run.json) return;
    auto summary = summaryOf(result);
    summary["command"] = "solve";
    summary["output"] = options.output;
    std::printf("%s\n", summary.dump(2).c_str());
}

}  // namespace

void addSolve(CLI::App& program, Run& run) {
    auto options = std::make_shared<Options>();
    auto* command = program.add_subcommand("solve", "Find where every plate looked");
    options->plates.addTo(*command, false);
    options->solve.addTo(*command);
    command->add_option("-o,--output", options->output, "The solve: one OpenTrackIO sample a plate")
        ->required()
        ->type_name("SOLVE.jsonl");
    command->callback([options, &run] { solve(*options, run); });
}

}  // namespace plateloom::cli
