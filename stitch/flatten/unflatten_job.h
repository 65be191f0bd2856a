// `unflatten` over many frames: which lens, which name, one after the other.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "stitch/solve/solve.h"
#include "stitch/take/chunk.h"

namespace plateloom::stitch {

struct UnflattenRequest {
    PlateArguments frames;
    std::filesystem::path folder;
    bool half = true;            ///< of frames that are not EXR; those keep each channel's type
    bool resume = false;         ///< keep what an earlier run finished
    std::optional<Chunk> chunk;  ///< of the frames; the first writes the maps
    std::optional<std::filesystem::path> uv_maps;  ///< folder for UV and shading maps
};

/// A frame whose flat picture does not reach everywhere that the lens looks.
struct UncoveredFrame {
    std::string file;
    double share = 0;  ///< of the recorded frame
};

struct UnflattenResult {
    std::vector<std::filesystem::path> written, kept, maps;
    std::vector<UncoveredFrame> uncovered;
    std::vector<std::string> notes, warnings;
    std::vector<StageTime> times;
};

/// Holds one frame at a time. Throws io::InputError, before anything is written, when two frames
/// would get the same name or one would be written over itself; io::RoomError when the folder can't
/// be written.
[[nodiscard]] UnflattenResult unflattenJob(const UnflattenRequest& request,
                                           const Progress& progress);

}  // namespace plateloom::stitch
