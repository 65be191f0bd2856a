// The UV and shading maps of a job's lenses, for whoever warps in another package.
#pragma once

#include <filesystem>
#include <vector>

#include "stitch/flatten/flatten.h"
#include "stitch/plates/plate_set.h"

namespace plateloom::stitch {

/// Four maps (uv_map.h) for each run of frames through one and the same lens, in both directions:
///     NAME.flatten-uv.FRAMES.exr, NAME.flatten-shading.FRAMES.exr        recorded frame -> flat
///     one NAME.unflatten-uv.FRAMES.exr, NAME.unflatten-shading.FRAMES.exr    flat frame ->
///     recorded one
/// NAME and FRAMES are those of the files: "shot.flatten-uv.1001-1024.exr", one number for one
/// frame. Warp first, then multiply. The flatten maps have the data window that `flatten` gives its
/// plates. Returns what was written. Throws as NewFile does.
[[nodiscard]] std::vector<std::filesystem::path> lensMapPaths(const std::filesystem::path& folder,
                                                              const std::vector<Plate>& frames);
std::vector<std::filesystem::path> writeLensMaps(const std::filesystem::path& folder,
                                                 const std::vector<Plate>& frames, Fit fit);

}  // namespace plateloom::stitch
