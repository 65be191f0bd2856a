#include <chrono>
#include <cstdio>
#include <ctime>
#include <memory>
#include <nlohmann/json.hpp>
#include <thread>

#include "io/folder_watch.h"
#include "io/report_page.h"
#include "stitch/check/check_job.h"
#include "stitch/check/take_check.h"
#include "stitch/cli/commands.h"
#include "stitch/cli/options.h"
#include "stitch/cli/report_option.h"
#include "stitch/cli/summary.h"
#include "stitch/cli/terminal.h"
#include "stitch/report/check_report.h"

namespace plateloom::cli {

namespace {

struct CheckCommandOptions {
    PlateOptions plates;
    TakeOptions take;
    ReportOption report;
    std::string pan, tilt;
    double nearest_m = 0;
    int threads = 0;
    bool watch = false;
};

stitch::CheckRequest requestOf(const CheckCommandOptions& options) {
    stitch::CheckRequest request;
    request.plates = options.plates.arguments();
    if (!options.pan.empty()) request.cover.pan_deg = parsePans(options.pan);
    if (!options.tilt.empty()) request.cover.tilt_deg = parseTilts(options.tilt);
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
}

stitch::Survey look(stitch::Check& job, const CheckCommandOptions& options, bool waits) {
    ProgressBar bar;
    auto survey = job.look(bar.callback(), waits);
    bar.wipe();
    survey.peak_memory_bytes = peakMemory();
    if (!options.report.folder.empty())
        stitch::writeCheckReport(options.report.folder, job, survey);
    return survey;
}

void tellWaiting(const stitch::Check& job, const stitch::Survey& survey) {
    std::time_t now = std::time(nullptr);
    char clock[16];
    std::strftime(clock, sizeof clock, "%H:%M:%S", std::localtime(&now));
    say(std::string(clock) + "  " + counted(survey.plates.size(), "plate"));
    for (const auto& path : job.waitingFor()) say("  waiting for the rest of " + path.string());
}

// Until it is stopped. A plate that is still being copied changes again when it is whole, or has
// been left alone for a moment.
[[noreturn]] void watch(stitch::Check& job, const CheckCommandOptions& options, const Run& run) {
    constexpr auto kPause = std::chrono::milliseconds(200);
    constexpr int kMoment = 6;  // pauses after which a file that stays as it is counts as written
    const auto arguments = options.plates.arguments();
    io::FolderWatch folder(arguments.plates, arguments.frames);
    say("watching; stop with Ctrl-C");
    for (int quiet = 0;; std::this_thread::sleep_for(kPause)) {
        const bool changed = folder.hasChanged();
        quiet = changed ? 0 : quiet + 1;
        if (!changed && (quiet != kMoment || job.waitingFor().empty())) continue;
        const auto survey = look(job, options, true);
        tellWaiting(job, survey);
        if (!survey.plates.empty()) tell(survey);
        if (run.json) printJson(stitch::surveyJson(survey), kOneLine);
        std::fflush(stdout);
    }
}

stitch::Survey lookAtTake(const CheckCommandOptions& options) {
    const auto request = requestOf(options);
    stitch::TakeCheck job(request, options.take.arguments(request.plates));
    ProgressBar bar;
    auto survey = job.look(bar.callback());
    bar.wipe();
    survey.peak_memory_bytes = peakMemory();
    if (!options.report.folder.empty())
        stitch::writeCheckReport(options.report.folder, job.middle(), survey);
    return survey;
}

stitch::Survey lookAtPlates(const CheckCommandOptions& options, const Run& run) {
    stitch::Check job(requestOf(options));
    if (options.watch) watch(job, options, run);
    return look(job, options, false);
}

void check(const CheckCommandOptions& options, Run& run) {
    if (!options.report.folder.empty()) {
        io::OutputGuard outputs = run.outputs();
        options.report.addTo(outputs);
        outputs.check();
        stitch::prepareReport(options.report.folder);
    }
    const auto survey = options.take.given() ? lookAtTake(options) : lookAtPlates(options, run);
    if (options.take.given())
        for (const auto& note : survey.notes) say(note);
    tell(survey);
    for (const auto& stage : survey.stages) say(stageLine(stage));
    if (!options.report.folder.empty())
        say("wrote " + io::reportPagePath(options.report.folder).string());
    run.status = survey.status ? look_at_it : done;
    if (run.json) printJson(stitch::surveyJson(survey));
}

}  // namespace

void addCheck(CLI::App& program, Run& run) {
    auto options = std::make_shared<CheckCommandOptions>();
    auto* command = program.add_subcommand(
        "check", "On location: coverage, ties between plates, changes of light, focus and lens");
    options->plates.addTo(*command, false);
    constexpr const char* kCoverage = "Coverage";
    command->add_option("--pan", options->pan, "Pans to cover in degrees (default: as the rows do)")
        ->type_name("FROM:TO")
        ->group(kCoverage);
    command
        ->add_option("--tilt", options->tilt, "Tilts to cover in degrees (default: as the rows do)")
        ->type_name("LOW:HIGH")
        ->group(kCoverage);
    addNearest(*command, options->nearest_m, "for the head's offset")->group(kCoverage);
    options->take.addTo(*command);
    options->report.addTo(*command);
    auto* watch =
        command->add_flag("--watch", options->watch,
                          "Check again as plates arrive, until interrupted; updates the page");
    watch->excludes(command->get_option("--clips"));
    addThreads(*command, options->threads);
    command->callback([options, &run] { check(*options, run); });
}

}  // namespace plateloom::cli
