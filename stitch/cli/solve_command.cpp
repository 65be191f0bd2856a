#include <memory>

#include "io/new_file.h"
#include "io/solve_file.h"
#include "stitch/cli/commands.h"
#include "stitch/cli/options.h"
#include "stitch/cli/report_option.h"
#include "stitch/cli/steady_options.h"
#include "stitch/cli/summary.h"
#include "stitch/cli/take_summary.h"
#include "stitch/cli/terminal.h"
#include "stitch/compose/stitch_job.h"

namespace plateloom::cli {

namespace {

struct SolveCommandOptions {
    PlateOptions plates;
    SolveOptions solve;
    ReportOption report;
    TakeOptions take;
    SteadyOptions steady;
    std::string output;
};

void solveTake(const SolveCommandOptions& options, Run& run) {
    const auto arguments = options.take.arguments(options.plates.arguments());
    const auto take = stitch::gatherTake(arguments);
    io::OutputGuard outputs = run.outputs();
    options.report.addTo(outputs);
    stitch::addInputs(outputs, take, arguments);
    stitch::addTakeSolve(outputs, options.output);
    outputs.check();
    options.report.beginTake();
    ProgressBar bar;
    const auto solve = stitch::solveTake(take, options.steady.settings(options.solve, options.take),
                                         bar.callback());
    stitch::writeTakeSolve(options.output, take, solve);
    bar.wipe();
    tell(take, solve);
    say("wrote " + options.output);
    run.status = statusOf(take, solve);
    options.report.writeTake("solve", run, options.solve.threads, take, solve,
                             [&] { return stitch::surveyOf(take, solve); });
    if (!run.json) return;
    auto summary = summaryOf(take, solve);
    summary["command"] = "solve";
    summary["output"] = options.output;
    printJson(summary);
}

void solve(const SolveCommandOptions& options, Run& run) {
    io::NewFile(options.output);  // what can't be written is found now, not after the work
    if (options.take.given()) return solveTake(options, run);
    io::OutputGuard outputs = run.outputs();
    options.report.addTo(outputs);
    outputs.writes(options.output, io::Made::solve);
    auto report = options.report.begin();
    ProgressBar bar;
    auto result = stitch::solveJob(
        {options.plates.arguments(), options.solve.settings(), options.solve.north, outputs},
        bar.callback(), ReportOption::recordOf(report.get()));
    if (report) stitch::surveyJob(*report, result, bar.callback());
    io::writeSolve(options.output, result.plates);
    bar.wipe();
    tell(result);
    say("wrote " + options.output);
    run.status = statusOf(result);
    options.report.write("solve", run, report.get());
    if (!run.json) return;
    auto summary = summaryOf(result);
    summary["command"] = "solve";
    summary["output"] = options.output;
    printJson(summary);
}

}  // namespace

void addSolve(CLI::App& program, Run& run) {
    auto options = std::make_shared<SolveCommandOptions>();
    auto* command = program.add_subcommand("solve", "Direction, lens and gain of every plate");
    options->plates.addTo(*command, false, true);
    options->solve.addTo(*command);
    options->take.addTo(*command);
    options->steady.addTo(*command);
    command->add_option("-o,--output", options->output, "Solve file: an OpenTrackIO sample a plate")
        ->required()
        ->type_name("SOLVE.jsonl")
        ->group(kOutput);
    options->report.addTo(*command);
    command->callback([options, &run] { solve(*options, run); });
}

}  // namespace plateloom::cli
