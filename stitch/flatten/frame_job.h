// What `flatten` and `unflatten` are asked for, and what they say of the frames that they made.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "io/output_guard.h"
#include "stitch/job/chunk.h"
#include "stitch/job/progress.h"
#include "stitch/plates/plate_set.h"

namespace plateloom::stitch {

struct FrameJob {
    PlateArguments plates;
    std::filesystem::path folder;
    bool half = true;            ///< samples, of frames that do not keep their own type
    bool resume = false;         ///< keep what an earlier run finished
    std::optional<Chunk> chunk;  ///< of the frames; the first writes the maps
    std::optional<std::filesystem::path> uv_maps;  ///< folder for UV and shading maps
    io::OutputGuard outputs;
};

struct MadeFrames {
    std::vector<std::filesystem::path> written, kept, maps;
    std::vector<std::string> notes, warnings;
    std::vector<StageTime> times;
    bool has_holes = false;  ///< a frame had many pixels that are not finite
};

}  // namespace plateloom::stitch
