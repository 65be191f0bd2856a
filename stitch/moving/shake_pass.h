// The shake of takes shot in turn, from every frame once: each clip by itself, before the mount is
// solved, since where a clip stood can only be told once its own shake is known.
#pragma once

#include "stitch/mount/first_moment.h"
#include "stitch/mount/shake.h"
#include "stitch/moving/take_frame.h"
#include "stitch/solve/solve.h"

namespace plateloom::stitch {

/// One a frame of the take, its `apart_rad` each clip's turn since its own first frame, through the
/// lenses of `first`. Memory does not grow with the pictures. Throws io::InputError as Take::at
/// does, and for frames that can't be read.
[[nodiscard]] std::vector<ShakeFrame> shakeOfEach(const Take& take, const FirstMoment& first,
                                                  const Progress& progress,
                                                  std::vector<StageTime>* times);

/// What a tracker is given of a frame: those of its plates that are there and not black (`shown`,
/// indices of its plates).
[[nodiscard]] std::vector<ShakeView> shakeViews(const TakeFrame& frame, const Mount& mount,
                                                const std::vector<int>& shown);

}  // namespace plateloom::stitch
