// The files that `flatten` and `unflatten` write: which name each gets in the output folder.
#pragma once

#include <filesystem>
#include <vector>

#include "stitch/flatten/frame_job.h"

namespace plateloom::stitch {

/// Under the name of the file it comes from; linear light, so what can't hold that becomes .exr,
/// and so does a TIFF where the picture reaches beyond the frame (`overscan`): it has no data
/// window.
[[nodiscard]] std::vector<std::filesystem::path> frameTargets(const std::filesystem::path& folder,
                                                              const PlateSet& set, bool overscan);

/// Of the job's chunk; maps too. Throws io::OutputRefused.
void checkTargets(const FrameJob& job, const PlateSet& set,
                  const std::vector<std::filesystem::path>& targets, io::Made kind);
/// Of a job that is resumed, before a frame is made anew: one that bears the job's recipe but is
/// cut short may go. Throws io::OutputRefused.
void checkTarget(const FrameJob& job, const std::filesystem::path& target,
                 const std::string& recipe, io::Made kind);

}  // namespace plateloom::stitch
