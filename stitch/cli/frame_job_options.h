// What the commands that make a frame of each plate share: their options, and what they tell.
#pragma once

#include <CLI/CLI.hpp>
#include <nlohmann/json.hpp>
#include <string>

#include "stitch/cli/commands.h"
#include "stitch/cli/options.h"
#include "stitch/flatten/frame_job.h"

namespace plateloom::cli {

struct FrameJobOptions {
    PlateOptions plates;
    std::string folder, depth = "half", uv_maps, chunk;
    bool resume = false;

    /// `frames` is what they are called in the folder's help, `depth_help` whose samples are meant.
    void addTo(CLI::App& command, const std::string& frames, const std::string& depth_help);
    /// Throws io::InputError for what does not parse.
    void fill(stitch::FrameJob& job, const Run& run) const;
};

/// What was found out before and while the frames were made, one line each.
void tellFindings(const stitch::MadeFrames& made);
/// The times, and how many files there are now; `noun` names one of them.
void tellFiles(const stitch::MadeFrames& made, const std::string& noun, const std::string& folder);
[[nodiscard]] nlohmann::json summaryOf(const stitch::MadeFrames& made, const std::string& command,
                                       const Run& run);

}  // namespace plateloom::cli
