#include <cstdio>
#include <memory>

#include "io/lens_table_file.h"
#include "io/new_file.h"
#include "stitch/calibrate/shading_job.h"
#include "stitch/calibrate/shading_page.h"
#include "stitch/calibrate/shading_summary.h"
#include "stitch/cli/commands.h"
#include "stitch/cli/options.h"
#include "stitch/cli/terminal.h"
#include "stitch/report/report.h"

namespace plateloom::cli {

namespace {

struct Options {
    std::vector<std::string> pictures;
    std::string sensor, report, frames, colour_space, output, page;
    double focal_mm = 0, focus_m = 0, t_stop = 0, black = 0;
};

stitch::ShadingRequest requestOf(const Options& options) {
    const auto above0 = [](double value) {
        return value > 0 ? std::optional(value) : std::nullopt;
    };
    stitch::ShadingRequest request;
    request.pictures.pictures = options.pictures;
    if (!options.frames.empty()) request.pictures.frames = io::parseFrameRange(options.frames);
    if (!options.report.empty()) request.pictures.report = options.report;
    request.pictures.colour_space = options.colour_space;
    request.pictures.focal_mm = above0(options.focal_mm);
    request.pictures.focus_m = above0(options.focus_m);
    request.pictures.t_stop = above0(options.t_stop);
    if (!options.sensor.empty()) {
        const SensorSize size = parseSensor(options.sensor);
        request.sensor_width_mm = size.width_mm;
        request.sensor_height_mm = above0(size.height_mm);
    }
    request.black = options.black;
    request.table_path = options.output;
    if (io::isLensTable(options.output)) request.table = io::readLensTable(options.output);
    return request;
}

void calibrateShading(const Options& options, Run& run) {
    const auto request = requestOf(options);
    io::NewFile(options.output);  // what can't be written is found now, not after the work
    if (!options.page.empty()) stitch::prepareReport(options.page);
    ProgressBar bar;
    const auto measured = stitch::measureShading(request, bar.callback());
    bar.wipe();
    io::addToLensTable(options.output, measured.table());
    for (const auto& line : stitch::linesOf(measured)) say(line);
    for (const auto& note : measured.notes) say(note);
    for (const auto& warning : measured.warnings) warn(warning);
    say("wrote " + options.output);
    if (!options.page.empty()) {
        stitch::writeShadingPage(options.page, measured);
        say("wrote " + io::reportPagePath(options.page).string());
    }
    run.status = measured.warnings.empty() ? done : look_at_it;
    if (!run.json) return;
    auto summary = stitch::jsonOf(measured);
    summary["output"] = options.output;
    summary["status"] = int(run.status);
    std::printf("%s\n", summary.dump(2).c_str());
}

void addSetting(CLI::App& command, Options& options) {
    command
        .add_option("--sensor", options.sensor,
                    "Active sensor area in mm; not said: the lens table's, or the pictures' own")
        ->type_name("WxH");
    command
        .add_option("--focal", options.focal_mm, "Focal length that the lens is marked with, in mm")
        ->check(CLI::PositiveNumber)
        ->type_name("MM");
    command.add_option("--focus", options.focus_m, "Focus distance of all pictures, in metres")
        ->check(CLI::PositiveNumber)
        ->type_name("M");
    command.add_option("--t-stop", options.t_stop, "T-stop of all pictures")
        ->check(CLI::PositiveNumber)
        ->type_name("T");
    command
        .add_option("--camera-report", options.report,
                    "Camera report (CSV): each picture's focus, T-stop, focal length, and where "
                    "the camera faced (pan_deg, tilt_deg, roll_deg)")
        ->type_name("FILE.csv");
    command.add_option("--frames", options.frames, "Frames of name.####.exr, e.g. 1001-1100")
        ->type_name("RANGE");
    command
        .add_option("--colour-space", options.colour_space,
                    "The pictures' colour space, when their files do not say it")
        ->type_name("NAME");
    command
        .add_option("--black", options.black, "Linear level that the camera records without light")
        ->capture_default_str()
        ->type_name("LEVEL");
}

}  // namespace

void addCalibrateShading(CLI::App& calibrate, Run& run) {
    auto options = std::make_shared<Options>();
    auto* command = calibrate.add_subcommand(
        "shading", "Falloff toward the corners from pictures of an even field, at each iris");
    command
        ->add_option("pictures", options->pictures,
                     "Pictures of an even field: files, folders, or name.####.exr with --frames")
        ->required()
        ->type_name("IMAGES");
    addSetting(*command, *options);
    command
        ->add_option("-o,--output", options->output,
                     "Lens table; one that exists takes the new settings in")
        ->required()
        ->type_name("LENS.json");
    command
        ->add_option("--report", options->page,
                     "Folder for a page to look at: DIR/index.html, one file, opens offline")
        ->type_name("DIR");
    command->callback([options, &run] { calibrateShading(*options, run); });
}

}  // namespace plateloom::cli
