// One moment of a take solved as stills: which cameras tie, about where each one looks, and what
// of the lenses had to be found. The start of a mount's solve.
#pragma once

#include "stitch/mount/mount.h"
#include "stitch/solve/solve.h"

namespace plateloom::stitch {

struct FirstMoment {
    int64_t frame = 0;                 ///< of the take
    std::vector<MountCamera> cameras;  ///< one a clip, as it stood at that frame
    double rms_px = 0;                 ///< of its ties
    bool one_place = false;            ///< all are known to see from one place
    std::vector<std::string> notes, warnings;

    [[nodiscard]] bool pupilsApart() const;  ///< known to see from different places
};

/// `moments`: frames of the take, in time. The middle one is tried first; where not all cameras
/// tie (one is black, a tram stands before it), others are. `settings.north` is a clip's index.
/// Throws io::InputError as Take::at does, and where no moment can be solved.
[[nodiscard]] FirstMoment solveFirstMoment(const Take& take, const std::vector<int64_t>& moments,
                                           const SolveSettings& settings, const Progress& progress,
                                           std::vector<StageTime>* times);

/// So many frames of the take, evenly spread from its first to its last.
[[nodiscard]] std::vector<int64_t> spreadMoments(const Take& take, int count);

}  // namespace plateloom::stitch
