// How each camera turned by itself: a head that gives in the wind, a hand on the tripod. Of takes
// shot in turn that is all there is of shake, each its own; of an array it is what a camera does
// beyond its mount.
//
// A camera's place on its mount is where it stood in the middle of its wobble: the mean over the
// take, or, of a camera that was knocked and is solved in parts, over each part.
#pragma once

#include <cstdint>
#include <vector>

#include "stitch/mount/knocks.h"
#include "stitch/mount/shake.h"

namespace plateloom::stitch {

struct OwnTurn {
    /// From a frame of the take on: where the camera stood in the mean, against where it stood at
    /// the frame that its turns are told from.
    struct Part {
        int64_t from_frame = 0;
        Matrix3d startFromMean = Matrix3d::Identity();
    };
    std::vector<Part> parts;  ///< in time, at least one
    /// One a frame of the take, against its part's mean; empty: it stood still.
    std::vector<Matrix3d> meanFromCamera;
    double rms_px = 0;  ///< of the turns about their means, plate pixels near the axis
    int unknown = 0;    ///< frames between whose neighbours it was put

    [[nodiscard]] const Part& partAt(int64_t frame) const;
    [[nodiscard]] Matrix3d at(int64_t frame, int64_t first_of_take) const {
        return meanFromCamera.empty() ? Matrix3d::Identity()
                                      : meanFromCamera[size_t(frame - first_of_take)];
    }
};

/// One a clip; `px_per_rad` likewise. A camera whose turns are not well above what its corners
/// leave open stood still. Cameras that were knocked are seen in parts. `least_px`: turns smaller
/// than this (RMS) are not worth it either.
[[nodiscard]] std::vector<OwnTurn> ownTurns(const std::vector<ShakeFrame>& shake,
                                            const std::vector<double>& px_per_rad,
                                            const std::vector<Knock>& in_parts, double least_px);

/// Cameras that stood still but for their knocks.
[[nodiscard]] std::vector<OwnTurn> turnsOfKnocks(size_t clips, int64_t first_of_take,
                                                 const std::vector<Knock>& knocks);

}  // namespace plateloom::stitch
