// A take solved whole: the mount, then one pass over all frames for what changes with time. After
// it frames do not depend on each other.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "io/output_guard.h"
#include "io/solve_file.h"
#include "stitch/clips/take.h"
#include "stitch/mount/knocks.h"
#include "stitch/mount/steady.h"
#include "stitch/moving/frame_runs.h"
#include "stitch/moving/take_pass.h"
#include "stitch/solve/solve.h"

namespace plateloom::stitch {

struct TakeSolveSettings {
    SolveSettings solve;           ///< its `north` is found here
    std::string north;             ///< name of the clip that looks to pan 0; "" for none
    Steady steady = Steady::none;  ///< of takes shot in turn each clip's own shake; no `follow`
    bool split_knocked = false;    ///< a camera that was knocked is solved in two parts
};

struct TakeSolve {
    SolvedTake solved;
    SeamPlan seams;  ///< labels are indices of the placed cameras
    /// What is taken out or, where the shake stays in, what locking would take out. Known right
    /// after a solve only.
    TakenOut shook;
    /// Where the turn of an array's mount could not be told.
    std::vector<FrameRun> shake_unknown;
    Steady steady = Steady::none;
    std::vector<Knock> knocks;
    double typical_light = 0;
    double shake_px = 0;               ///< RMS of the mount's turn against its mean, plate pixels
    std::vector<double> own_shake_px;  ///< of takes shot in turn, each clip's, likewise
    std::vector<std::string> notes, warnings;
    std::vector<StageTime> times;
};

/// Throws io::InputError; Steady::follow of takes shot in turn, which share no path, is refused.
[[nodiscard]] TakeSolve solveTake(const Take& take, const TakeSolveSettings& settings,
                                  const Progress& progress);

/// SOLVE.jsonl, beside it SOLVE.seams/ and, steadied, SOLVE.shake.jsonl. Throws io::RoomError.
/// All of it is written beside what is there, and replaces it at the end.
void writeTakeSolve(const std::filesystem::path& path, const Take& take, const TakeSolve& solve);
/// What a take is made of.
void addInputs(io::OutputGuard& guard, const Take& take, const TakeArguments& arguments);
/// The files that writeTakeSolve replaces.
void addTakeSolve(io::OutputGuard& guard, const std::filesystem::path& path);
/// The files that readTakeSolve may read.
[[nodiscard]] std::vector<std::filesystem::path> filesOfTakeSolve(
    const std::filesystem::path& path);

/// Clips are found in the file by name, and its frames have to cover the take's. Throws
/// io::InputError: a file of stills, a clip that it does not know, frames that it was not solved
/// for, seams or shake missing beside it.
[[nodiscard]] TakeSolve readTakeSolve(const std::filesystem::path& path, const Take& take);

/// For which distance the panorama is composed: `asked` is "auto" (each overlap at its own, where
/// pupils are known), "infinity", metres, or CLIP:CLIP=METRES for one seam; later ones count over
/// earlier ones. Throws io::InputError for what is none of these.
void setDistance(const std::vector<std::string>& asked, const Take& take, TakeSolve& solve);

}  // namespace plateloom::stitch
