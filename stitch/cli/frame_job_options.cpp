#include "stitch/cli/frame_job_options.h"

#include "stitch/cli/summary.h"
#include "stitch/cli/terminal.h"

namespace plateloom::cli {

void FrameJobOptions::addTo(CLI::App& command, const std::string& frames,
                            const std::string& depth_help) {
    plates.addTo(command, true);
    command.add_option("-o,--output", folder, "Folder for the " + frames)
        ->required()
        ->type_name("DIR")
        ->group(kOutput);
    addDepth(command, depth, depth_help)->group(kOutput);
    addUvMaps(command, uv_maps);
    addResume(command, resume);
    addChunk(command, chunk);
}

void FrameJobOptions::fill(stitch::FrameJob& job, const Run& run) const {
    job.outputs = run.outputs();
    job.plates = plates.arguments();
    job.folder = folder;
    job.half = depth == "half";
    job.resume = resume;
    job.chunk = parseChunk(chunk);
    if (!uv_maps.empty()) job.uv_maps = uv_maps;
}

void tellFindings(const stitch::MadeFrames& made) {
    for (const auto& note : made.notes) say(note);
    for (const auto& warning : made.warnings) warn(warning);
}

void tellFiles(const stitch::MadeFrames& made, const std::string& noun, const std::string& folder) {
    for (const auto& time : made.times) say(stageLine(time));
    if (!made.kept.empty())
        say("kept " + counted(made.kept.size(), noun) + " that an earlier run had finished");
    if (!made.maps.empty()) say("wrote " + counted(made.maps.size(), "map"));
    say("wrote " + counted(made.written.size(), noun) + " to " + folder);
}

nlohmann::json summaryOf(const stitch::MadeFrames& made, const std::string& command,
                         const Run& run) {
    return {{"command", command},
            {"status", int(run.status)},
            {"notes", made.notes},
            {"warnings", made.warnings},
            {"written", pathsOf(made.written)},
            {"kept", pathsOf(made.kept)},
            {"maps", pathsOf(made.maps)},
            {"peak_memory_bytes", peakMemory()},
            {"stages", stagesOf(made.times)}};
}

}  // namespace plateloom::cli
