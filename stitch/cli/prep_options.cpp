#include "stitch/cli/prep_options.h"

#include "calib/focus.h"
#include "io/measured_column.h"
#include "io/new_file.h"
#include "io/report_page.h"
#include "stitch/cli/options.h"
#include "stitch/report/report.h"

namespace plateloom::cli {

namespace {

// Infinity becomes the distance that stands for it; other words are left to the check of numbers.
CLI::Validator infinityAsMetres() {
    return {[](std::string& text) {
                if (io::saysInfinity(text)) text = std::to_string(calib::kFocusAtInfinity_m);
                return std::string();
            },
            "", "infinity"};
}

}  // namespace

std::optional<double> above0(double value) {
    return value > 0 ? std::optional(value) : std::nullopt;
}

void PrepOptions::addTo(CLI::App& command, const std::string& what) {
    command
        .add_option("pictures", pictures,
                    "Pictures of " + what + ": files, folders, or name.####.exr with --frames")
        ->required()
        ->type_name("IMAGES");
    command
        .add_option(
            "--sensor", sensor,
            "Active sensor area in mm, where neither the pictures nor the lens table say it")
        ->type_name("WxH");
    command.add_option("--focal", focal_mm, "Focal length that the lens is marked with, in mm")
        ->check(positiveNumber())
        ->type_name("MM");
    command.add_option("--focus", focus_m, "Focus distance of all pictures, in metres, or inf")
        ->transform(infinityAsMetres())
        ->check(positiveNumber())
        ->type_name("M");
    command.add_option("--t-stop", t_stop, "T-stop of all pictures")
        ->check(positiveNumber())
        ->type_name("T");
    command
        .add_option("--camera-report", report,
                    "Camera report (CSV): each picture's focus, T-stop, focal length; of even "
                    "fields also where the camera faced (pan_deg, tilt_deg, roll_deg)")
        ->type_name("FILE.csv");
    addFrames(command, frames, "Frames of name.####.exr, e.g. 1001-1100");
    command
        .add_option("--colour-space", colour_space,
                    "The pictures' colour space, when their files do not say it")
        ->type_name("NAME");
    command
        .add_option("-o,--output", output, "Lens table; one that exists takes the new settings in")
        ->required()
        ->type_name("LENS.json");
    command
        .add_option("--report", page,
                    "Folder for a page to look at: DIR/index.html, one file, opens offline")
        ->type_name("DIR");
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
