#include <memory>
#include <string>

#include "stitch/cli/commands.h"
#include "stitch/cli/frame_job_options.h"
#include "stitch/cli/terminal.h"
#include "stitch/flatten/flatten_job.h"

namespace plateloom::cli {

namespace {

struct FlattenCommandOptions {
    FrameJobOptions job;
    std::string fit = "overscan";
};

void flatten(const FlattenCommandOptions& options, Run& run) {
    stitch::FlattenJob job;
    options.job.fill(job, run);
    job.fit = options.fit == "inside" ? stitch::Fit::inside : stitch::Fit::overscan;
    ProgressBar bar;
    const auto made = stitch::flattenJob(job, bar.callback());
    bar.wipe();
    tellFindings(made);
    if (made.has_holes) run.status = look_at_it;
    tellFiles(made, "flat plate", options.job.folder);
    if (run.json) printJson(summaryOf(made, "flatten", run));
}

}  // namespace

void addFlatten(CLI::App& program, Run& run) {
    auto options = std::make_shared<FlattenCommandOptions>();
    auto* command = program.add_subcommand(
        "flatten", "Flat plates: each undistorted and unshaded with its own lens");
    options->job.addTo(*command, "flat plates", "Sample format; float plates stay float");
    oneOf(command->add_option("--fit", options->fit,
                              "Keep every recorded pixel (overscan), or the frame's size (inside)"),
          {"overscan", "inside"})
        ->capture_default_str()
        ->group(kOutput);
    command->callback([options, &run] { flatten(*options, run); });
}

}  // namespace plateloom::cli
