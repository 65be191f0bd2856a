#include <cstdlib>
#include <limits>
#include <memory>

#include "io/input_error.h"
#include "stitch/cli/commands.h"
#include "stitch/cli/options.h"
#include "stitch/cli/report_option.h"
#include "stitch/cli/steady_options.h"
#include "stitch/cli/summary.h"
#include "stitch/cli/take_summary.h"
#include "stitch/cli/terminal.h"
#include "stitch/compose/stitch_job.h"
#include "stitch/moving/stitch_take.h"

namespace plateloom::cli {

namespace {

struct StitchCommandOptions {
    PlateOptions plates;
    SolveOptions solve;
    ReportOption report;
    std::string output, solve_file, projection = "equirectangular", depth = "half", preview, tilt;
    int width = 0, tile = 1024;
    bool no_preview = false;
    TakeOptions take;
    SteadyOptions steady;
    std::vector<std::string> distance;
    std::string chunk;
    bool resume = false;
};

// The panorama is written in tiles of this size, so a working tile holds some of them whole.
constexpr int kFileTile = 256;

CLI::Validator wholeTiles() {
    return {[](const std::string& text) {
                return std::atoi(text.c_str()) % kFileTile == 0
                           ? std::string()
                           : "expected a multiple of " + std::to_string(kFileTile);
            },
            "", "tile"};
}

std::filesystem::path besides(const std::filesystem::path& output, const std::string& ending) {
    return output.parent_path() / (output.stem().string() + ending);
}

io::OutputGuard outputsOf(const StitchCommandOptions& options, const Run& run) {
    io::OutputGuard outputs = run.outputs();
    options.report.addTo(outputs);
    return outputs;
}

stitch::StitchRequest requestOf(const StitchCommandOptions& options, const Run& run) {
    stitch::StitchRequest request;
    request.solve = {options.plates.arguments(), options.solve.settings(), options.solve.north,
                     outputsOf(options, run)};
    request.output = options.output;
    if (!options.solve_file.empty()) request.solve_file = options.solve_file;
    if (!options.no_preview)
        request.preview = options.preview.empty() ? besides(options.output, ".preview.png")
                                                  : std::filesystem::path(options.preview);
    request.projection = options.projection == "cylindrical" ? stitch::Projection::cylindrical
                                                             : stitch::Projection::equirectangular;
    request.width = options.width;
    if (!options.tilt.empty())
        std::tie(request.bottom_deg, request.top_deg) = parseTilts(options.tilt);
    request.half = options.depth == "half";
    request.tile = options.tile;
    request.threads = options.solve.threads;
    return request;
}

// "pano.####.exr" -> "pano.exr": what the solve of a sequence is named after.
std::string withoutNumber(const std::string& output) {
    std::string name = std::filesystem::path(output).filename().string();
    const size_t begin = name.find('#');
    if (begin == std::string::npos) return name;
    const size_t end = std::min(name.find_first_not_of('#', begin), name.size());
    const size_t from = begin > 0 && name[begin - 1] == '.' ? begin - 1 : begin;
    return name.erase(from, end - from);
}

stitch::TakeStitchRequest takeRequestOf(const StitchCommandOptions& options, const Run& run) {
    stitch::TakeStitchRequest request;
    const auto still = requestOf(options, run);
    request.outputs = still.solve.outputs;
    request.take = options.take.arguments(options.plates.arguments());
    request.solve = options.steady.settings(options.solve, options.take);
    request.output = options.output;
    request.solve_file = still.solve_file.value_or(
        besides(std::filesystem::path(options.output).parent_path() / withoutNumber(options.output),
                ".jsonl"));
    if (!options.distance.empty()) request.distance = options.distance;
    if (!options.no_preview)
        request.preview = options.preview.empty()
                              ? std::filesystem::path(options.output).replace_extension(".jpg")
                              : std::filesystem::path(options.preview);
    request.chunk = parseChunk(options.chunk);
    request.resume = options.resume;
    request.projection = still.projection;
    request.width = still.width;
    request.top_deg = still.top_deg;
    request.bottom_deg = still.bottom_deg;
    request.half = still.half;
    request.tile = still.tile;
    request.threads = still.threads;
    return request;
}

// What was made, the same of a panorama and of a sequence of them.
void addPanorama(nlohmann::json& summary, const StitchCommandOptions& options,
                 const stitch::PanoramaGrid& grid, double covered_share) {
    summary["command"] = "stitch";
    summary["output"] = options.output;
    summary["width"] = grid.width;
    summary["height"] = grid.height;
    summary["projection"] = options.projection;
    summary["covered_share"] = covered_share;
}

std::string panoramaInWords(const StitchCommandOptions& options, const stitch::PanoramaGrid& grid,
                            double covered_share) {
    return std::to_string(grid.width) + "x" + std::to_string(grid.height) + " " +
           options.projection + ", " + percent(covered_share) + " of the sphere covered";
}

void stitchTake(const StitchCommandOptions& options, Run& run) {
    options.report.beginTake();
    ProgressBar bar;
    const auto result = stitch::stitchTake(takeRequestOf(options, run), bar.callback());
    bar.wipe();
    tell(result.take, result.solve);
    for (const auto& time : result.times) say(stageLine(time));
    std::string line = "wrote " + counted(size_t(result.made), "frame");
    if (result.kept > 0) line += ", kept " + std::to_string(result.kept) + " that were there";
    if (result.made > 0) line += ": " + panoramaInWords(options, result.grid, result.covered_share);
    say(line);
    run.status = statusOf(result.take, result.solve);
    if (result.first <= result.last)
        options.report.writeTake("stitch", run, options.solve.threads, result.take, result.solve,
                                 [&] { return stitch::surveyOf(result); });
    else if (!options.report.folder.empty())
        say("no page: this chunk has no frames");
    if (!run.json) return;
    auto summary = summaryOf(result.take, result.solve);
    addPanorama(summary, options, result.grid, result.covered_share);
    summary["made"] = result.made;
    summary["kept"] = result.kept;
    summary["frame_stages"] = stagesOf(result.times);
    printJson(summary);
}

void stitchPlates(const StitchCommandOptions& options, Run& run) {
    if (options.take.given()) return stitchTake(options, run);
    const auto only_clips = [](bool given, const char* option) {
        if (given)
            throw io::OptionError(option, "is for clips: say how they were shot with --clips");
    };
    only_clips(!options.distance.empty(), "--distance");
    only_clips(!options.chunk.empty(), "--chunk");
    only_clips(options.resume, "--resume");
    const auto request = requestOf(options, run);
    auto report = options.report.begin();
    ProgressBar bar;
    auto result = stitch::stitchJob(request, bar.callback(), ReportOption::recordOf(report.get()));
    if (report) stitch::surveyJob(*report, result.solve, bar.callback());
    bar.wipe();
    tell(result.solve);
    say("wrote " + options.output + ": " +
        panoramaInWords(options, result.grid, result.covered_share));
    run.status = statusOf(result.solve);
    options.report.write("stitch", run, report.get());
    if (!run.json) return;
    auto summary = summaryOf(result.solve);
    addPanorama(summary, options, result.grid, result.covered_share);
    printJson(summary);
}

}  // namespace

void addStitch(CLI::App& program, Run& run) {
    auto options = std::make_shared<StitchCommandOptions>();
    auto* command = program.add_subcommand("stitch", "The panorama");
    options->plates.addTo(*command, false, true);
    options->solve.addTo(*command);
    command
        ->add_option("--solve", options->solve_file,
                     "Solve file: used unchanged where it exists, else written")
        ->type_name("SOLVE.jsonl")
        ->group(kSolve);
    constexpr const char* kPanorama = "Panorama";
    oneOf(command->add_option("--projection", options->projection, "Projection"),
          {"equirectangular", "cylindrical"})
        ->capture_default_str()
        ->group(kPanorama);
    command
        ->add_option("--width", options->width,
                     "Pixels of the full turn; 0: the resolution of the plates")
        ->check(wholeNumber(0, std::numeric_limits<int>::max()))
        ->type_name("PX")
        ->capture_default_str()
        ->group(kPanorama);
    command->add_option("--tilt", options->tilt, "Tilts that a cylinder covers, in degrees")
        ->type_name("LOW:HIGH")
        ->group(kPanorama);
    options->take.addTo(*command);
    options->steady.addTo(*command);
    command
        ->add_option("--distance", options->distance,
                     "Composition distance: metres, or with a unit (12ft); infinity; auto uses "
                     "each overlap's own; CLIP:CLIP=12 sets one seam's")
        ->transform(seamAsMetres())
        ->type_name("DISTANCE")
        ->group(kClips);
    addChunk(*command, options->chunk)->group(kClips);
    addResume(*command, options->resume)->group(kClips);
    command->add_option("-o,--output", options->output, "Panorama, .exr or .tif")
        ->required()
        ->type_name("PANO.exr")
        ->group(kOutput);
    addDepth(*command, options->depth, "Sample format")->group(kOutput);
    command
        ->add_option("--preview", options->preview, "Preview PNG (default: next to the panorama)")
        ->type_name("FILE.png")
        ->group(kOutput);
    command->add_flag("--no-preview", options->no_preview, "Write no preview")->group(kOutput);
    options->report.addTo(*command);
    command
        ->add_option("--tile", options->tile,
                     "Working tile in pixels; affects memory and speed, not the result")
        ->check(wholeNumber(kFileTile, 8192) & wholeTiles())
        ->type_name("PX")
        ->capture_default_str();
    command->callback([options, &run] { stitchPlates(*options, run); });
}

}  // namespace plateloom::cli
