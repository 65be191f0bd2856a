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
    auto* command =
        program.add_subcommand("flatten", "Undistort and unshade plates, each with its own lens");
    options->job.addTo(*command, "flat plates", "Sample format; float plates stay float");
    command
        ->add_option(
            "--fit", options->fit,
            "overscan keeps every recorded pixel beyond the frame; inside keeps the frame's size")
        ->check(CLI::IsMember({"overscan", "inside"}))
        ->capture_default_str();
    command->callback([options, &run] { flatten(*options, run); });
}

}  // namespace plateloom::cli
