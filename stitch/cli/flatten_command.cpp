#include <cstdio>
#include <memory>
#include <nlohmann/json.hpp>

#include "stitch/cli/commands.h"
#include "stitch/cli/options.h"
#include "stitch/cli/summary.h"
#include "stitch/cli/terminal.h"
#include "stitch/flatten/flatten_job.h"

namespace plateloom::cli {

namespace {

struct Options {
    PlateOptions plates;
    std::string folder, fit = "overscan", depth = "half", uv_maps, chunk;
    bool resume = false;
};

void flatten(const Options& options, Run& run) {
    stitch::FlattenRequest request;
    request.plates = options.plates.arguments();
    request.folder = options.folder;
    request.fit = options.fit == "inside" ? stitch::Fit::inside : stitch::Fit::overscan;
    request.half = options.depth == "half";
    request.resume = options.resume;
    request.chunk = parseChunk(options.chunk);
    if (!options.uv_maps.empty()) request.uv_maps = options.uv_maps;
    ProgressBar bar;
    const auto result = stitch::flattenJob(request, bar.callback());
    bar.wipe();
    for (const auto& note : result.notes) say(note);
    for (const auto& warning : result.warnings) warn(warning);
    for (const auto& time : result.times) say(stageLine(time));
    if (!result.kept.empty())
        say("kept " + counted(result.kept.size(), "flat plate") +
            " that an earlier run had finished");
    if (!result.maps.empty()) say("wrote " + counted(result.maps.size(), "map"));
    say("wrote " + counted(result.written.size(), "flat plate") + " to " + options.folder);
    if (!run.json) return;
    nlohmann::json summary{{"command", "flatten"},
                           {"status", int(run.status)},
                           {"notes", result.notes},
                           {"warnings", result.warnings},
                           {"written", pathsOf(result.written)},
                           {"kept", pathsOf(result.kept)},
                           {"maps", pathsOf(result.maps)},
                           {"peak_memory_bytes", peakMemory()},
                           {"stages", stagesOf(result.times)}};
    std::printf("%s\n", summary.dump(2).c_str());
}

}  // namespace

void addFlatten(CLI::App& program, Run& run) {
    auto options = std::make_shared<Options>();
    auto* command =
        program.add_subcommand("flatten", "Undistort and unshade plates, each with its own lens");
    options->plates.addTo(*command, true);
    command->add_option("-o,--output", options->folder, "Folder for the flat plates")
        ->required()
        ->type_name("DIR");
    command
        ->add_option(
            "--fit", options->fit,
            "overscan keeps every recorded pixel beyond the frame; inside keeps the frame's size")
        ->check(CLI::IsMember({"overscan", "inside"}))
        ->capture_default_str();
    command->add_option("--depth", options->depth, "Sample format; float plates stay float")
        ->check(CLI::IsMember({"half", "float"}))
        ->capture_default_str();
    addResume(*command, options->resume);
    addChunk(*command, options->chunk);
    addUvMaps(*command, options->uv_maps);
    command->callback([options, &run] { flatten(*options, run); });
}

}  // namespace plateloom::cli
