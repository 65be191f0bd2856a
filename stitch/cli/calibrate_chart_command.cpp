#include <cstdio>
#include <memory>

#include "io/input_error.h"
#include "io/lens_table_file.h"
#include "stitch/calibrate/chart_job.h"
#include "stitch/calibrate/chart_page.h"
#include "stitch/calibrate/chart_summary.h"
#include "stitch/cli/commands.h"
#include "stitch/cli/options.h"
#include "stitch/cli/prep_options.h"
#include "stitch/cli/terminal.h"
#include "stitch/report/report.h"

namespace plateloom::cli {

namespace {

struct CalibrateChartCommandOptions {
    PrepOptions prep;
    std::string board, squares, dictionary;
    std::string model = "recorded-to-flat";
    double square_mm = 0, marker_mm = 0, dot_mm = 0;
    bool flat_board = false;
};

stitch::BoardWish boardOf(const CalibrateChartCommandOptions& options) {
    stitch::BoardWish wish;
    for (const auto kind :
         {stitch::BoardKind::checker, stitch::BoardKind::charuco, stitch::BoardKind::dots})
        if (options.board == nameOf(kind)) wish.kind = kind;
    char rest = 0;
    if (std::sscanf(options.squares.c_str(), "%dx%d%c", &wish.columns, &wish.rows, &rest) != 2 ||
        wish.columns < 3 || wish.rows < 3 || wish.columns > 200 || wish.rows > 200)
        throw io::OptionError("--squares " + options.squares,
                              "expected columns and rows, 3x3 at least, e.g. 9x6");
    wish.pitch_mm = options.square_mm;
    wish.marker_mm = above0(options.marker_mm);
    wish.dot_mm = above0(options.dot_mm);
    wish.dictionary = options.dictionary;
    return wish;
}

stitch::ChartRequest requestOf(const CalibrateChartCommandOptions& options) {
    stitch::ChartRequest request;
    request.prep = options.prep.request();
    request.board = boardOf(options);
    request.sensor_width_mm = options.prep.sensorWidth_mm();
    request.sensor_height_mm = options.prep.sensorHeight_mm();
    if (options.model == "flat-to-recorded")
        request.direction = calib::DistortionDirection::flat_to_recorded;
    request.board_shape = !options.flat_board;
    return request;
}

void calibrateChart(const CalibrateChartCommandOptions& options, Run& run) {
    const auto request = requestOf(options);
    options.prep.findOutWhatCanBeWritten(run);
    ProgressBar bar;
    const auto job = stitch::measureCharts(request, bar.callback());
    bar.wipe();
    io::addToLensTable(options.prep.output, job.table(), run.overwrite);
    for (const auto& note : job.notes) say(note);
    for (const auto& lens : job.lenses) {
        for (const auto& line : stitch::linesOf(lens)) say(line);
        for (const auto& warning : lens.warnings) warn(warning);
    }
    for (const auto& warning : job.warnings) warn(warning);
    say("wrote " + options.prep.output);
    if (!options.prep.page.empty()) {
        stitch::writeChartPage(options.prep.page, job, options.prep.colour_space);
        say("wrote " + io::reportPagePath(options.prep.page).string());
    }
    run.status = job.needsALook() ? look_at_it : done;
    if (!run.json) return;
    auto summary = stitch::jsonOf(job);
    summary["output"] = options.prep.output;
    summary["status"] = int(run.status);
    printJson(summary);
}

void addBoard(CLI::App& command, CalibrateChartCommandOptions& options) {
    constexpr const char* kBoard = "Board";
    oneOf(command.add_option("--board", options.board, "Kind of board (default: detected)"),
          {"checker", "charuco", "dots"})
        ->group(kBoard);
    command
        .add_option("--squares", options.squares,
                    "Columns and rows: a checkerboard's inner corners (9x6 of 10 by 7 squares), "
                    "ChArUco squares, or dots")
        ->required()
        ->type_name("WxH")
        ->group(kBoard);
    command
        .add_option("--square-mm", options.square_mm,
                    "Side of a square, or distance of two dots, in mm; affects distances only")
        ->check(positiveNumber())
        ->default_val(25.0)
        ->type_name("MM")
        ->group(kBoard);
    command
        .add_option("--marker-mm", options.marker_mm,
                    "Side of a ChArUco marker in mm (default: measured)")
        ->check(positiveNumber())
        ->type_name("MM")
        ->group(kBoard);
    oneOf(command.add_option("--dictionary", options.dictionary,
                             "Dictionary of the ChArUco markers (default: detected)"),
          {"4x4", "5x5", "6x6", "7x7", "original"})
        ->group(kBoard);
    command.add_option("--dot-mm", options.dot_mm, "Diameter of a dot in mm (default: measured)")
        ->check(positiveNumber())
        ->type_name("MM")
        ->group(kBoard);
    command
        .add_flag("--flat-board", options.flat_board,
                  "The board is flat and its squares are square: do not estimate its shape")
        ->group(kBoard);
}

}  // namespace

void addCalibrateChart(CLI::App& calibrate, Run& run) {
    auto options = std::make_shared<CalibrateChartCommandOptions>();
    auto* command = calibrate.add_subcommand(
        "chart", "Focal length and distortion, from pictures of a board at each focus setting");
    options->prep.addTo(*command, "the board");
    addBoard(*command, *options);
    oneOf(command->add_option("--model", options->model,
                              "Direction of the distortion polynomial: D-U (recorded-to-flat) or "
                              "U-D"),
          {"recorded-to-flat", "flat-to-recorded"})
        ->capture_default_str()
        ->group(kLens);
    command->callback([options, &run] { calibrateChart(*options, run); });
}

}  // namespace plateloom::cli
