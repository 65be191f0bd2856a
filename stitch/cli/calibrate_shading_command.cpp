#include <memory>

#include "io/lens_table_file.h"
#include "stitch/calibrate/shading_job.h"
#include "stitch/calibrate/shading_page.h"
#include "stitch/calibrate/shading_summary.h"
#include "stitch/cli/commands.h"
#include "stitch/cli/prep_options.h"
#include "stitch/cli/terminal.h"
#include "stitch/report/report.h"

namespace plateloom::cli {

namespace {

struct CalibrateShadingCommandOptions {
    PrepOptions prep;
    double black = 0;
};

stitch::ShadingRequest requestOf(const CalibrateShadingCommandOptions& options) {
    stitch::ShadingRequest request;
    request.pictures = options.prep.request();
    request.sensor_width_mm = options.prep.sensorWidth_mm();
    request.sensor_height_mm = options.prep.sensorHeight_mm();
    request.black = options.black;
    request.table_path = options.prep.output;
    if (io::isLensTable(options.prep.output))
        request.table = io::readLensTable(options.prep.output);
    return request;
}

void calibrateShading(const CalibrateShadingCommandOptions& options, Run& run) {
    const auto request = requestOf(options);
    options.prep.findOutWhatCanBeWritten(run);
    ProgressBar bar;
    const auto measured = stitch::measureShading(request, bar.callback());
    bar.wipe();
    io::addToLensTable(options.prep.output, measured.table(), run.overwrite);
    for (const auto& line : stitch::linesOf(measured)) say(line);
    for (const auto& note : measured.notes) say(note);
    for (const auto& warning : measured.warnings) warn(warning);
    say("wrote " + options.prep.output);
    if (!options.prep.page.empty()) {
        stitch::writeShadingPage(options.prep.page, measured);
        say("wrote " + io::reportPagePath(options.prep.page).string());
    }
    run.status = measured.warnings.empty() ? done : look_at_it;
    if (!run.json) return;
    auto summary = stitch::jsonOf(measured);
    summary["output"] = options.prep.output;
    summary["status"] = int(run.status);
    printJson(summary);
}

}  // namespace

void addCalibrateShading(CLI::App& calibrate, Run& run) {
    auto options = std::make_shared<CalibrateShadingCommandOptions>();
    auto* command = calibrate.add_subcommand(
        "shading", "Shading (vignetting), from pictures of a flat field at each iris setting");
    options->prep.addTo(*command, "a flat field");
    command
        ->add_option("--black", options->black, "Linear level that the camera records in the dark")
        ->capture_default_str()
        ->type_name("LEVEL")
        ->group(kLens);
    command->callback([options, &run] { calibrateShading(*options, run); });
}

}  // namespace plateloom::cli
