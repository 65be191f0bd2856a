#include <memory>
#include <nlohmann/json.hpp>

#include "stitch/cli/commands.h"
#include "stitch/cli/frame_job_options.h"
#include "stitch/cli/terminal.h"
#include "stitch/flatten/unflatten_job.h"

namespace plateloom::cli {

namespace {

void unflatten(const FrameJobOptions& options, Run& run) {
    stitch::FrameJob job;
    options.fill(job, run);
    ProgressBar bar;
    const auto made = stitch::unflattenJob(job, bar.callback());
    bar.wipe();
    tellFindings(made);
    for (const auto& frame : made.uncovered)
        warn(frame.file + ": the flat frame does not reach everywhere: " + percent(frame.share) +
             " of the recorded frame is empty; give it more overscan");
    tellFiles(made, "frame", options.folder);
    if (!made.uncovered.empty() || made.has_holes) run.status = look_at_it;
    if (!run.json) return;
    nlohmann::json summary = summaryOf(made, "unflatten", run);
    summary["uncovered"] = nlohmann::json::array();
    for (const auto& frame : made.uncovered)
        summary["uncovered"].push_back({{"file", frame.file}, {"share", frame.share}});
    printJson(summary);
}

constexpr const char* kChannels =
    "Every part and channel survives under its name and in its type. Colour (R, G, B, Y, in any "
    "layer of light) is filtered and gets the lens's shading; alpha, mattes and other "
    "floating-point "
    "channels are filtered; depth (Z, ZBack), ids, whole numbers and layers of positions, normals, "
    "motion or texture coordinates take the nearest sample.";

}  // namespace

void addUnflatten(CLI::App& program, Run& run) {
    auto options = std::make_shared<FrameJobOptions>();
    auto* command = program.add_subcommand(
        "unflatten", "The lens look, distortion and shading, put back on flat frames");
    command->footer(kChannels);
    options->addTo(*command, "frames", "Sample format of frames that are not EXR");
    command->callback([options, &run] { unflatten(*options, run); });
}

}  // namespace plateloom::cli
