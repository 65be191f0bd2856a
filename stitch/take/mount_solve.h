// The mount of a take solved: one moment as stills first, which finds out who stands where; then
// ties registered at moments spread over the whole take, and one adjustment of all
// (mount_bundle.h).
#pragma once

#include "stitch/solve/solve.h"
#include "stitch/take/mount.h"

namespace plateloom::stitch {

/// From this frame on a camera stands otherwise; its turn against before, in the camera's own axes.
struct Knock {
    int clip = 0;
    int64_t frame = 0;  ///< of the take: the first one after
    Matrix3d beforeFromAfter = Matrix3d::Identity();
};

struct MountSettings {
    SolveSettings solve;         ///< level, threads, features; `north` is a clip's index
    int moments = 7;             ///< that ties come from, spread over the take
    std::vector<Knock> knocked;  ///< cameras that are solved in two parts
};

/// Throws io::InputError as Take::at does, and where no moment of the take can be solved.
[[nodiscard]] Mount solveMount(const Take& take, const MountSettings& settings,
                               const Progress& progress, std::vector<StageTime>* times);

}  // namespace plateloom::stitch
