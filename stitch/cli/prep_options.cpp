#include "stitch/cli/prep_options.h"

#include "io/new_file.h"
#include "io/report_page.h"
#include "stitch/cli/options.h"
#include "stitch/report/report.h"

namespace plateloom::cli {

std::optional<double> above0(double value) {
    return value > 0 ? std::optional(value) : std::nullopt;
}

void PrepOptions::addTo(CLI::App& command, const std::string& what) {
    command
        .add_option("pictures", pictures,
                    "Pictures of " + what + ": files, folders, or name.####.exr with --frames")
        ->required()
        ->type_name("PICTURES");
    addFrames(command, frames, "Frames of name.####.exr, e.g. 1001-1100");
    command
        .add_option("--camera-report", report,
                    "Camera report: focus, T-stop and focal length of each picture; of a flat "
                    "field also the pose (pan_deg, tilt_deg, roll_deg)")
        ->type_name("FILE.csv");
    command
        .add_option("--colour-space", colour_space,
                    "Colour space of the pictures, where their files do not state it")
        ->type_name("NAME");
    addSensor(command, sensor, ", where neither the pictures nor the lens table state it");
    addFocal(command, focal_mm, " as engraved on the lens");
    command
        .add_option("--focus", focus_m,
                    "Focus distance of all pictures, in metres, or with a unit (12ft), or inf")
        ->transform(asMetres())
        ->check(positiveNumber())
        ->type_name("DISTANCE")
        ->group(kLens);
    command.add_option("--t-stop", t_stop, "T-stop of all pictures")
        ->check(positiveNumber())
        ->type_name("T")
        ->group(kLens);
    command
        .add_option("-o,--output", output, "Lens table; the settings are added to one that exists")
        ->required()
        ->type_name("LENS.json")
        ->group(kOutput);
    command
        .add_option("--report", page, "Folder for the report page, DIR/index.html; opens offline")
        ->type_name("DIR")
        ->group(kOutput);
}

stitch::PrepRequest PrepOptions::request() const {
    stitch::PrepRequest request;
    request.pictures = pictures;
    if (!frames.empty()) request.frames = io::parseFrameRange(frames);
    if (!report.empty()) request.report = report;
    request.colour_space = colour_space;
    request.focal_mm = above0(focal_mm);
    request.focus_m = above0(focus_m);
    request.t_stop = above0(t_stop);
    return request;
}

std::optional<double> PrepOptions::sensorWidth_mm() const {
    return sensor.empty() ? std::nullopt : above0(parseSensor(sensor).width_mm);
}

std::optional<double> PrepOptions::sensorHeight_mm() const {
    return sensor.empty() ? std::nullopt : above0(parseSensor(sensor).height_mm);
}

void PrepOptions::findOutWhatCanBeWritten(const Run& run) const {
    io::OutputGuard outputs = run.outputs();
    const auto prep = request();
    outputs.reads(io::expandPlates(prep.pictures, prep.frames));
    if (prep.report) outputs.reads(*prep.report);
    outputs.takesUp(output);  // a table that is there takes the new settings in
    if (!page.empty()) outputs.writes(io::reportPagePath(page), io::Made::page);
    outputs.check();
    io::NewFile{output};
    if (!page.empty()) stitch::prepareReport(page);
}

}  // namespace plateloom::cli
