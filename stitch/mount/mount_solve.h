// The mount of a take solved: from where the cameras stood at one moment (first_moment.h), ties
// registered at moments spread over the whole take, and one adjustment of all (mount_bundle.h).
// Where cameras turn by themselves (own_turns.h), ties are turned to where each camera stands in
// the mean, so that moments of unlike shake speak for one place.
#pragma once

#include "stitch/mount/first_moment.h"
#include "stitch/mount/own_turns.h"

namespace plateloom::stitch {

struct MountSettings {
    std::vector<int64_t> moments;  ///< frames that ties come from: spreadMoments
    std::vector<OwnTurn> own;      ///< one a clip; a camera of several parts is solved in those
    int threads = 0;               ///< 0: all
};

/// Throws io::InputError as Take::at does.
[[nodiscard]] Mount solveMount(const Take& take, const FirstMoment& first,
                               const MountSettings& settings, const Progress& progress,
                               std::vector<StageTime>* times);

}  // namespace plateloom::stitch
