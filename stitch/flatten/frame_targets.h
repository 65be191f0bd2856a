// The files that `flatten` and `unflatten` write: which name each gets in the output folder.
#pragma once

#include <filesystem>
#include <vector>

#include "stitch/plates/plate_set.h"

namespace plateloom::stitch {

/// Under the name of the file it comes from; linear light, so what can't hold that becomes .exr,
/// and so does a TIFF where the picture reaches beyond the frame (`overscan`): it has no data
/// window. Throws io::InputError when two would get the same name or one would be written over
/// itself.
[[nodiscard]] std::vector<std::filesystem::path> frameTargets(const std::filesystem::path& folder,
                                                              const PlateSet& set, bool overscan);

}  // namespace plateloom::stitch
