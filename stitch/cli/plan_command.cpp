#include <cstdio>
#include <limits>
#include <memory>

#include "io/input_error.h"
#include "io/new_file.h"
#include "stitch/cli/commands.h"
#include "stitch/cli/options.h"
#include "stitch/cli/terminal.h"
#include "stitch/plan/plan_json.h"
#include "stitch/plan/plan_list.h"
#include "stitch/plan/plan_wish.h"

namespace plateloom::cli {

namespace {

struct PlanCommandOptions {
    stitch::PlanRequest request;
    stitch::PlanTerms terms;
    double nearest_m = 0;
    std::string sensor, size, pan = "-180:180", tilt = "-40:40", name = "plate.####.exr", output;
    int first_number = 1001;
};

// The list is what was asked for, so it goes to standard output, unless the machine's summary does.
void print(const io::ShotList& list, bool json) {
    FILE* out = json ? stderr : stdout;
    const std::string rows = stitch::rowsText(list);
    std::fputs(rows.c_str(), out);
    for (const auto& [what, value] : list.figures)
        std::fputs(stitch::wrappedFigure(what, value).c_str(), out);
    for (const auto& caution : list.cautions)
        std::fputs(stitch::wrappedFigure("Mind", caution).c_str(), out);
}

constexpr const char* kReport = "report.csv";
constexpr const char* kPoses = "poses.jsonl";
constexpr const char* kPage = "plan.html";

void checkOutputs(const PlanCommandOptions& options, const Run& run) {
    if (options.output.empty()) return;
    io::OutputGuard outputs = run.outputs();
    outputs.reads(options.request.lens_track);
    for (const char* name : {kReport, kPoses, kPage})
        outputs.writes(std::filesystem::path(options.output) / name, io::Made::plan);
    outputs.check();
}

void write(const std::filesystem::path& folder, const io::ShotList& list) {
    io::makeFolder(folder);
    io::writeShotReport(folder / kReport, list);
    io::writeShotPoses(folder / kPoses, list);
    io::writeShotPage(folder / kPage, list);
    say("wrote " + folder.string() + ": report.csv, poses.jsonl, plan.html");
}

void plan(PlanCommandOptions options, Run& run) {
    checkOutputs(options, run);
    auto& sensor = options.request.sensor;
    if (!options.sensor.empty()) {
        const SensorSize mm = parseSensor(options.sensor);
        sensor.width_mm = mm.width_mm, sensor.height_mm = mm.height_mm;
    }
    if (!options.size.empty()) {
        const stitch::FrameSize px = parseSize(options.size);
        sensor.width_px = px.width, sensor.height_px = px.height;
        if (px.width == 0) throw io::OptionError("--size " + options.size, "is no size");
    }
    options.request.pan_deg = parsePans(options.pan);
    options.request.tilt_deg = parseTilts(options.tilt);
    if (options.nearest_m > 0) options.terms.nearest_m = options.nearest_m;
    std::vector<std::string> notes;
    const stitch::PlanWish wish = stitch::planWish(options.request, &notes);
    for (const auto& note : notes) say(note);
    const stitch::Plan result = stitch::planShots(wish);
    const auto list = shotListOf(result, wish, options.terms, options.name, options.first_number);
    run.status = result.shots.empty() ? look_at_it : done;
    if (result.shots.empty())
        say("no plan: " + result.why_not);
    else
        print(list, run.json);
    if (!options.output.empty() && !result.shots.empty()) write(options.output, list);
    if (!run.json) return;
    auto summary = stitch::jsonOf(result, wish, options.terms, list);
    summary["status"] = int(run.status);
    printJson(summary);
}

}  // namespace

void addPlan(CLI::App& program, Run& run) {
    auto options = std::make_shared<PlanCommandOptions>();
    auto& request = options->request;
    auto* command = program.add_subcommand("plan", "Which pans and tilts to shoot");
    addSensor(*command, options->sensor);
    command->add_option("--size", options->size, "Plate size in pixels")
        ->type_name("WxH")
        ->group(kLens);
    addFocal(*command, request.focal_mm, ", without distortion");
    command->add_option("--lens", request.lens_track, "Lens track, for the lens's distortion")
        ->type_name("TRACK")
        ->group(kLens);
    constexpr const char* kCoverage = "Coverage";
    command->add_option("--pan", options->pan, "Pans to cover in degrees; 150:-150 spans 180")
        ->type_name("FROM:TO")
        ->capture_default_str()
        ->group(kCoverage);
    command->add_option("--tilt", options->tilt, "Tilts to cover in degrees")
        ->type_name("LOW:HIGH")
        ->capture_default_str()
        ->group(kCoverage);
    command->add_flag("--zenith", request.zenith, "Cover up to the zenith")->group(kCoverage);
    command->add_flag("--nadir", request.nadir, "Cover down to the nadir")->group(kCoverage);
    CLI::Validator percent = CLI::Range(0.0, 100.0);
    command
        ->add_option("--overlap", request.overlap_percent,
                     "Overlap of neighbours, in percent of a plate")
        ->check(percent.description(""))
        ->type_name("PERCENT")
        ->capture_default_str()
        ->group(kCoverage);
    constexpr const char* kFigures = "Depth of field and data";
    addNearest(*command, options->nearest_m, "for focus and the head's tolerance")->group(kFigures);
    command->add_option("--f-stop", options->terms.f_stop, "Iris, for the depth of field")
        ->check(positiveNumber())
        ->type_name("N")
        ->capture_default_str()
        ->group(kFigures);
    command
        ->add_option("--fps", options->terms.frames_per_second,
                     "Frames per second, for the amount of data")
        ->check(positiveNumber())
        ->type_name("RATE")
        ->capture_default_str()
        ->group(kFigures);
    command->add_option("--name", options->name, "File name of the plates")
        ->type_name("NAME")
        ->capture_default_str()
        ->group(kOutput);
    command->add_option("--first", options->first_number, "Number of the first plate")
        ->check(wholeNumber(0, std::numeric_limits<int>::max()))
        ->type_name("N")
        ->capture_default_str()
        ->group(kOutput);
    command
        ->add_option("-o,--output", options->output,
                     "Folder for the shot list: a camera report to fill in, poses, a page to print")
        ->type_name("DIR")
        ->group(kOutput);
    command->callback([options, &run] { plan(*options, run); });
}

}  // namespace plateloom::cli
