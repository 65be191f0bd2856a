// `flatten` over many plates: which lens, which name, one after the other.
#pragma once

#include <filesystem>

#include "stitch/flatten/flatten.h"
#include "stitch/solve/solve.h"
#include "stitch/take/chunk.h"

namespace plateloom::stitch {

struct FlattenRequest {
    PlateArguments plates;
    std::filesystem::path folder;
    Fit fit = Fit::overscan;
    bool half = true;
    bool resume = false;                           ///< keep what an earlier run finished
    std::optional<Chunk> chunk;                    ///< of the plates; the first writes the maps
    std::optional<std::filesystem::path> uv_maps;  ///< folder for UV and shading maps
};

struct FlattenResult {
    std::vector<std::filesystem::path> written, kept, maps;
    std::vector<std::string> notes, warnings;
    std::vector<StageTime> times;
};

/// Throws io::InputError, before anything is written, when two plates would get the same name or
/// one would be written over itself; io::RoomError when the folder can't be written.
[[nodiscard]] FlattenResult flattenJob(const FlattenRequest& request, const Progress& progress);

}  // namespace plateloom::stitch
