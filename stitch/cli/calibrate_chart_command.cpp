#include <cstdio>
#include <memory>

#include "io/input_error.h"
#include "io/lens_table_file.h"
#include "io/new_file.h"
#include "stitch/calibrate/chart_job.h"
#include "stitch/calibrate/chart_page.h"
#include "stitch/calibrate/chart_summary.h"
#include "stitch/cli/commands.h"
#include "stitch/cli/options.h"
#include "stitch/cli/terminal.h"
#include "stitch/report/report.h"

namespace plateloom::cli {

namespace {

struct Options {
    std::vector<std::string> pictures;
    std::string board, squares, dictionary, sensor, report, frames, colour_space, output, page;
    std::string model = "recorded-to-flat";
    double square_mm = 0, marker_mm = 0, dot_mm = 0, focal_mm = 0, focus_m = 0, t_stop = 0;
    bool flat_board = false;
};

std::optional<double> above0(double value) {
    return value > 0 ? std::optional(value) : std::nullopt;
}

stitch::BoardWish boardOf(const Options& options) {
    stitch::BoardWish wish;
    for (const auto kind :
         {stitch::BoardKind::checker, stitch::BoardKind::charuco, stitch::BoardKind::dots})
        if (options.board == nameOf(kind)) wish.kind = kind;
    char rest = 0;
    if (std::sscanf(options.squares.c_str(), "%dx%d%c", &wish.columns, &wish.rows, &rest) != 2 ||
        wish.columns < 3 || wish.rows < 3 || wish.columns > 200 || wish.rows > 200)
        throw io::InputError("--squares " + options.squares,
                             "expected columns and rows, 3x3 at least, e.g. 9x6");
    wish.pitch_mm = options.square_mm;
    wish.marker_mm = above0(options.marker_mm);
    wish.dot_mm = above0(options.dot_mm);
    wish.dictionary = options.dictionary;
    return wish;
}

stitch::ChartRequest requestOf(const Options& options) {
    stitch::ChartRequest request;
    request.prep.pictures = options.pictures;
    if (!options.frames.empty()) request.prep.frames = io::parseFrameRange(options.frames);
    if (!options.report.empty()) request.prep.report = options.report;
    request.prep.colour_space = options.colour_space;
    request.board = boardOf(options);
    if (!options.sensor.empty()) {
        const SensorSize size = parseSensor(options.sensor);
        request.sensor_width_mm = size.width_mm;
        request.sensor_height_mm = above0(size.height_mm);
    }
    request.prep.focal_mm = above0(options.focal_mm);
    request.prep.focus_m = above0(options.focus_m);
    request.prep.t_stop = above0(options.t_stop);
    if (options.model == "flat-to-recorded")
        request.direction = calib::DistortionDirection::flat_to_recorded;
    request.board_shape = !options.flat_board;
    return request;
}

void calibrateChart(const Options& options, Run& run) {
    const auto request = requestOf(options);
    io::NewFile(options.output);  // what can't be written is found now, not after the work
    if (!options.page.empty()) stitch::prepareReport(options.page);
    ProgressBar bar;
    const auto job = stitch::measureCharts(request, bar.callback());
    bar.wipe();
    io::addToLensTable(options.output, job.table());
    for (const auto& note : job.notes) say(note);
    for (const auto& lens : job.lenses) {
        for (const auto& line : stitch::linesOf(lens)) say(line);
        for (const auto& warning : lens.warnings) warn(warning);
    }
    for (const auto& warning : job.warnings) warn(warning);
    say("wrote " + options.output);
    if (!options.page.empty()) {
        stitch::writeChartPage(options.page, job, options.colour_space);
        say("wrote " + io::reportPagePath(options.page).string());
    }
    run.status = job.needsALook() ? look_at_it : done;
    if (!run.json) return;
    auto summary = stitch::jsonOf(job);
    summary["output"] = options.output;
    summary["status"] = int(run.status);
    std::printf("%s\n", summary.dump(2).c_str());
}

void addBoard(CLI::App& command, Options& options) {
    command.add_option("--board", options.board, "Kind of board; not said: whichever is found")
        ->check(CLI::IsMember({"checker", "charuco", "dots"}));
    command
        .add_option("--squares", options.squares,
                    "Size of the board. checker: its inner corners, where four squares meet (10 by "
                    "7 squares are 9x6); charuco: its squares; dots: its dots")
        ->required()
        ->type_name("WxH");
    command
        .add_option("--square-mm", options.square_mm,
                    "Side of a square, or from dot to dot (only distances hang on it)")
        ->check(CLI::PositiveNumber)
        ->default_val(25.0)
        ->type_name("MM");
    command
        .add_option("--marker-mm", options.marker_mm,
                    "charuco: side of a marker; not said: measured")
        ->check(CLI::PositiveNumber)
        ->type_name("MM");
    command
        .add_option("--dictionary", options.dictionary,
                    "charuco: the markers' dictionary; not said: whichever fits")
        ->check(CLI::IsMember({"4x4", "5x5", "6x6", "7x7", "original"}));
    command.add_option("--dot-mm", options.dot_mm, "dots: diameter of a dot; not said: measured")
        ->check(CLI::PositiveNumber)
        ->type_name("MM");
    command.add_flag("--flat-board", options.flat_board,
                     "The board is known to be flat and square: do not measure its shape");
}

void addSetting(CLI::App& command, Options& options) {
    command.add_option("--sensor", options.sensor, "Active sensor area in mm")->type_name("WxH");
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
                    "Camera report (CSV): each picture's focus, T-stop, focal length")
        ->type_name("FILE.csv");
    command.add_option("--frames", options.frames, "Frames of name.####.exr, e.g. 1001-1100")
        ->type_name("RANGE");
    command
        .add_option("--colour-space", options.colour_space,
                    "The pictures' colour space, when their files do not say it")
        ->type_name("NAME");
}

}  // namespace

void addCalibrateChart(CLI::App& calibrate, Run& run) {
    auto options = std::make_shared<Options>();
    auto* command = calibrate.add_subcommand(
        "chart", "Focal length and distortion from pictures of a board, at each focus setting");
    command
        ->add_option("pictures", options->pictures,
                     "Pictures of the board: files, folders, or name.####.exr with --frames")
        ->required()
        ->type_name("IMAGES");
    addBoard(*command, *options);
    addSetting(*command, *options);
    command
        ->add_option("--model", options->model,
                     "Which way the distortion polynomial runs: D-U or U-D")
        ->check(CLI::IsMember({"recorded-to-flat", "flat-to-recorded"}))
        ->capture_default_str();
    command
        ->add_option("-o,--output", options->output,
                     "Lens table; one that exists takes the new settings in")
        ->required()
        ->type_name("LENS.json");
    command
        ->add_option("--report", options->page,
                     "Folder for a page to look at: DIR/index.html, one file, opens offline")
        ->type_name("DIR");
    command->callback([options, &run] { calibrateChart(*options, run); });
}

}  // namespace plateloom::cli
