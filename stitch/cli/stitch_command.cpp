#include <cstdio>
#include <memory>

#include "stitch/cli/commands.h"
#include "stitch/cli/options.h"
#include "stitch/cli/report_option.h"
#include "stitch/cli/summary.h"
#include "stitch/cli/terminal.h"
#include "stitch/compose/stitch_job.h"

namespace plateloom::cli {

namespace {

struct Options {
    PlateOptions plates;
    SolveOptions solve;
    ReportOption report;
    std::string output, solve_file, projection = "equirectangular", depth = "half", preview, tilt;
    int width = 0, tile = 1024;
    bool no_preview = false;
};

std::filesystem::path besides(const std::filesystem::path& output, const std::string& ending) {
    return output.parent_path() / (output.stem().string() + ending);
}

stitch::StitchRequest requestOf(const Options& options) {
    stitch::StitchRequest request;
    request.solve = {options.plates.arguments(), options.solve.settings(), options.solve.north};
    request.output = options.output;
    if (!options.solve_file.empty()) request.solve_file = options.solve_file;
    if (!options.no_preview)
        request.preview = options.preview.empty() ? besides(options.output, ".preview.png")
                                                  : std::filesystem::path(options.preview);
    request.projection = options.projection == "cylindrical" ? stitch::Projection::cylindrical
                                                             : stitch::Projection::equirectangular;
    request.width = options.width;
    if (!options.tilt.empty())
        std::tie(request.bottom_deg, request.top_deg) = parseBand("--tilt", options.tilt);
    request.half = options.depth == "half";
    request.tile = options.tile;
    request.threads = options.solve.threads;
    return request;
}

void stitchPlates(const Options& options, Run& run) {
    const auto request = requestOf(options);
    auto report = options.report.begin();
    ProgressBar bar;
    const auto result = stitch::stitchJob(request, bar.callback(), report.get());
    bar.wipe();
    tell(result.solve);
    say("wrote " + options.output + ": " + std::to_string(result.grid.width) + "x" +
        std::to_string(result.grid.height) + " " + options.projection + ", " +
        percent(result.covered_share) + " of the sphere covered");
    run.status = statusOf(result.solve);
    options.report.write("stitch", run, report.get());
    if (!run.json) return;
    auto summary = summaryOf(result.solve);
    summary["command"] = "stitch";
    summary["output"] = options.output;
    summary["width"] = result.grid.width;
    summary["height"] = result.grid.height;
    summary["projection"] = options.projection;
    summary["covered_share"] = result.covered_share;
    std::printf("%s\n", summary.dump(2).c_str());
}

}  // namespace

void addStitch(CLI::App& program, Run& run) {
    auto options = std::make_shared<Options>();
    auto* command = program.add_subcommand("stitch", "Compose the panorama");
    options->plates.addTo(*command, false);
    options->solve.addTo(*command);
    options->report.addTo(*command);
    command->add_option("-o,--output", options->output, "The panorama: .exr, .tif")
        ->required()
        ->type_name("PANO.exr");
    command
        ->add_option("--solve", options->solve_file,
                     "Used as it is when it exists, written when it does not")
        ->type_name("SOLVE.jsonl");
    command
        ->add_option("--width", options->width,
                     "Pixels round the full turn; 0 keeps the plates' own resolution")
        ->check(CLI::NonNegativeNumber)
        ->capture_default_str();
    command->add_option("--projection", options->projection, "How the sphere is unrolled")
        ->check(CLI::IsMember({"equirectangular", "cylindrical"}))
        ->capture_default_str();
    command->add_option("--tilt", options->tilt, "Band of a cylindrical panorama, degrees")
        ->type_name("LOW:HIGH");
    command->add_option("--depth", options->depth, "Sample format")
        ->check(CLI::IsMember({"half", "float"}))
        ->capture_default_str();
    command
        ->add_option("--preview", options->preview,
                     "PNG for eyes; beside the panorama when not given")
        ->type_name("FILE.png");
    command->add_flag("--no-preview", options->no_preview, "No PNG");
    command
        ->add_option("--tile", options->tile,
                     "Working tile in pixels: memory and speed only, never the result")
        ->check(CLI::Range(64, 8192))
        ->capture_default_str();
    command->callback([options, &run] { stitchPlates(*options, run); });
}

}  // namespace plateloom::cli
