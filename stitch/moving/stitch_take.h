// The moving panorama: one picture a frame of the take. After the solve frames do not depend on
// each other, so any of them may be made anywhere, in any order.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "stitch/compose/stitch_job.h"
#include "stitch/job/chunk.h"
#include "stitch/moving/solve_take.h"

namespace plateloom::stitch {

struct TakeStitchRequest {
    TakeArguments take;
    TakeSolveSettings solve;
    std::filesystem::path solve_file;  ///< read when it exists, else solved and written
    std::vector<std::string> distance{"auto"};
    std::filesystem::path output;                  ///< with #### for the take's frame number
    std::optional<std::filesystem::path> preview;  ///< JPEG or PNG sequence, with ####
    std::optional<Chunk> chunk;
    bool resume = false;
    Projection projection = Projection::equirectangular;
    int width = 0;
    std::optional<double> top_deg, bottom_deg;
    bool half = true;
    int tile = 1024;
    int threads = 0;
    io::OutputGuard outputs;  ///< with the report's page
};

/// What became of one frame of a run.
struct FrameMade {
    int64_t frame = 0;
    bool kept = false;             ///< it was there and whole
    std::vector<StageTime> times;  ///< none of one that was kept. The next frame is read meanwhile
};

struct TakeStitchResult {
    Take take;
    TakeSolve solve;
    bool solve_was_read = false;
    PanoramaGrid grid;
    int64_t first = 0, last = 0;   ///< frames asked for, of this chunk
    std::filesystem::path output;  ///< as asked for
    std::optional<std::filesystem::path> preview;
    int made = 0, kept = 0;
    std::vector<FrameMade> each;  ///< in order
    double covered_share = 0;     ///< least of the frames made
    std::vector<StageTime> times;
};

/// Throws io::OutputRefused, io::InputError, io::RoomError; frames that are finished stay.
[[nodiscard]] TakeStitchResult stitchTake(const TakeStitchRequest& request,
                                          const Progress& progress);

}  // namespace plateloom::stitch
