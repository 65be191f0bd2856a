#include <cstdio>
#include <memory>
#include <nlohmann/json.hpp>

#include "stitch/check_job.h"
#include "stitch/cli/commands.h"
#include "stitch/cli/options.h"
#include "stitch/cli/summary.h"
#include "stitch/cli/terminal.h"

namespace plateloom::cli {

namespace {

struct Options {
    PlateOptions plates;
    std::string pan, tilt, report;
    double nearest_m = 0;
    int threads = 0;
    bool watch = false;
};

stitch::CheckRequest requestOf(const Options& options) {
    stitch::CheckRequest request;
    request.plates = options.plates.arguments();
    if (!options.pan.empty()) request.cover.pan_deg = parseBand("--pan", options.pan);
    if (!options.tilt.empty()) request.cover.tilt_deg = parseBand("--tilt", options.tilt);
    if (options.nearest_m > 0) request.nearest_m = options.nearest_m;
    request.threads = options.threads;
    return request;
}

void tell(const stitch::Survey& survey) {
    say(survey.verdict);
    for (const auto& finding : survey.findings) {
        say(std::string(finding.grave ? "  ! " : "  - ") + finding.text);
        say("      " + finding.advice);
    }
    for (const auto& warning : survey.warnings) warn(warning);
    for (const auto& stage : survey.stages) say(stageLine(stage));
}

void check(const Options& options, Run& run) {
    stitch::Check job(requestOf(options));
    ProgressBar bar;
    auto survey = job.look(bar.callback());
    bar.wipe();
    survey.peak_memory_bytes = peakMemory();
    tell(survey);
    run.status = survey.status ? look_at_it : done;
    if (run.json) std::printf("%s\n", stitch::surveyJson(survey).dump(2).c_str());
}

}  // namespace

void addCheck(CLI::App& program, Run& run) {
    auto options = std::make_shared<Options>();
    auto* command = program.add_subcommand(
        "check", "On location: is all covered, does all tie, did anything move");
    options->plates.addTo(*command, false);
    command->add_option("--pan", options->pan, "Wanted pans, degrees; else as the rows go")
        ->type_name("LOW:HIGH");
    command->add_option("--tilt", options->tilt, "Wanted tilts, degrees; else as the rows go")
        ->type_name("LOW:HIGH");
    command
        ->add_option("--nearest", options->nearest_m,
                     "Distance of the nearest thing in the pictures, for the head's offset")
        ->check(CLI::PositiveNumber)
        ->type_name("M");
    command->add_option("--threads", options->threads, "Threads to use; 0 uses all")
        ->check(CLI::NonNegativeNumber)
        ->capture_default_str();
    command->callback([options, &run] { check(*options, run); });
}

}  // namespace plateloom::cli
