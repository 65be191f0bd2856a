// The frames of a movie file that can be had. Counted from 1; a movie may say that it has more than
// can be decoded, and then those are left out and told of.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "io/plate_file.h"

namespace plateloom::io {

struct MovieFrames {
    int last = 0;      ///< frames 1 to this one can be had; at least 1
    int counted = 0;   ///< as many as the file says it has
    std::string lost;  ///< "frames 95 to 96 are left out: they can't be decoded..."; "" where none
};

/// Looks the movie through, which decodes it once unless each frame stands for itself (ProRes, VC-3
/// and their like in QuickTime or MP4). `asked` looks no further than to its last frame. Throws
/// InputError where none can be decoded.
[[nodiscard]] MovieFrames framesOfMovie(const std::filesystem::path& path,
                                        std::optional<FrameRange> asked);

/// Headers of a plate: the picture's own, or one a frame of a movie, of all that can be had or of
/// those asked for. Frames left out are told in `warnings`. Throws InputError as readPlateHeader
/// and framesOfMovie do, and where a movie has not all that were asked for.
[[nodiscard]] std::vector<PlateFile> readPlateFrames(const std::filesystem::path& path,
                                                     const std::string& colour_space,
                                                     std::optional<FrameRange> asked,
                                                     std::vector<std::string>* warnings);

}  // namespace plateloom::io
