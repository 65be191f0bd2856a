// The solve as a whole: features, pairs, loops, bundle adjustment, registration, bundle adjustment
// again, level. What comes out is what SOLVE.jsonl holds.
#pragma once

#include <string>
#include <vector>

#include "io/solve_file.h"
#include "stitch/job/progress.h"
#include "stitch/plates/plate_set.h"
#include "stitch/plates/plate_store.h"
#include "stitch/solve/level.h"
#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

struct SolveMemory;  // stitch/ties/solve_memory.h

struct SolveSettings {
    Level level = Level::automatic;
    std::optional<int> north;       ///< plate index
    int threads = 0;                ///< 0: all
    int features = 2000;            ///< looked for on each plate
    int most_passes = 4;            ///< over the pixels, where the lens is not known
    SolveMemory* memory = nullptr;  ///< read, and added to
};

struct Solve {
    std::vector<io::SolvedPlate> plates;   ///< one a plate of the set, in its order
    std::vector<Tie> ties;                 ///< inliers
    std::vector<double> residual_px;       ///< one a tie, length
    std::vector<Tie> refused;              ///< registered as well, but off by more than the others
    std::vector<int> features;             ///< found on each plate
    std::vector<std::vector<int>> groups;  ///< plates that hang together; more than one: a gap
    std::vector<std::string> notes, warnings;
    std::vector<StageTime> times;
    double rms_px = 0;
    bool needs_a_look = false;  ///< a warning tells of something that a person must see
};

[[nodiscard]] Solve solvePlates(const PlateSet& set, PlateStore& store,
                                const SolveSettings& settings, const Progress& progress);

}  // namespace plateloom::stitch
