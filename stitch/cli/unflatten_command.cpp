#include <cstdio>
#include <memory>
#include <nlohmann/json.hpp>

#include "stitch/cli/commands.h"
#include "stitch/cli/options.h"
#include "stitch/cli/summary.h"
#include "stitch/cli/terminal.h"
#include "stitch/flatten/unflatten_job.h"

namespace plateloom::cli {

namespace {

struct Options {
    PlateOptions frames;
    std::string folder, depth = "half", uv_maps, chunk;
    bool resume = false;
};

void tell(const stitch::UnflattenResult& result, const std::string& folder) {
    for (const auto& note : result.notes) say(note);
    for (const auto& warning : result.warnings) warn(warning);
    for (const auto& frame : result.uncovered)
        warn(frame.file + ": the flat frame does not reach everywhere: " + percent(frame.share) +
             " of the recorded frame is empty; give it more overscan");
    for (const auto& time : result.times) say(stageLine(time));
    if (!result.kept.empty())
        say("kept " + counted(result.kept.size(), "frame") + " that an earlier run had finished");
    if (!result.maps.empty()) say("wrote " + counted(result.maps.size(), "map"));
    say("wrote " + counted(result.written.size(), "frame") + " to " + folder);
}

void unflatten(const Options& options, Run& run) {
    stitch::UnflattenRequest request;
    request.frames = options.frames.arguments();
    request.folder = options.folder;
    request.half = options.depth == "half";
    request.resume = options.resume;
    request.chunk = parseChunk(options.chunk);
    if (!options.uv_maps.empty()) request.uv_maps = options.uv_maps;
    ProgressBar bar;
    const auto result = stitch::unflattenJob(request, bar.callback());
    bar.wipe();
    tell(result, options.folder);
    if (!result.uncovered.empty()) run.status = look_at_it;
    if (!run.json) return;
    nlohmann::json summary{{"command", "unflatten"},
                           {"status", int(run.status)},
                           {"notes", result.notes},
                           {"warnings", result.warnings},
                           {"written", pathsOf(result.written)},
                           {"kept", pathsOf(result.kept)},
                           {"maps", pathsOf(result.maps)},
                           {"uncovered", nlohmann::json::array()},
                           {"peak_memory_bytes", peakMemory()},
                           {"stages", stagesOf(result.times)}};
    for (const auto& frame : result.uncovered)
        summary["uncovered"].push_back({{"file", frame.file}, {"share", frame.share}});
    std::printf("%s\n", summary.dump(2).c_str());
}

constexpr const char* kChannels =
    "Every part and channel survives under its name and in its type. Colour (R, G, B, Y, in any "
    "layer of light) is filtered and gets the lens's shading; alpha, mattes and other "
    "floating-point "
    "channels are filtered; depth (Z, ZBack), ids, whole numbers and layers of positions, normals, "
    "motion or texture coordinates take the nearest sample.";

}  // namespace

void addUnflatten(CLI::App& program, Run& run) {
    auto options = std::make_shared<Options>();
    auto* command = program.add_subcommand(
        "unflatten", "Put distortion and shading back on flat frames, each with its own lens");
    command->footer(kChannels);
    options->frames.addTo(*command, true);
    command->add_option("-o,--output", options->folder, "Folder for the frames")
        ->required()
        ->type_name("DIR");
    command->add_option("--depth", options->depth, "Sample format of frames that are not EXR")
        ->check(CLI::IsMember({"half", "float"}))
        ->capture_default_str();
    addResume(*command, options->resume);
    addChunk(*command, options->chunk);
    addUvMaps(*command, options->uv_maps);
    command->callback([options, &run] { unflatten(*options, run); });
}

}  // namespace plateloom::cli
