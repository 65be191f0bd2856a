// The rotations of a mount's cameras from tie points of many moments: within a moment all cameras
// stand as the mount holds them, so whatever the mount itself did drops out, and all moments speak
// for one set of rotations. Lenses are as they came: each frame has its own sample.
//
// Cameras of an array stand apart. Where their places are known, each tie has a distance of its
// own, solved with the rotations: a thing in direction w at inverse distance r from the mount's
// centre is seen by a camera at pupil p along w - r p.
#pragma once

#include <optional>
#include <vector>

#include "calib/lens.h"
#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

/// One end of a mount's tie. A body is a camera as it stands on the mount; a camera that was
/// knocked is two bodies, before and after.
struct MountEnd {
    int body = 0;
    Vector3d ray = Vector3d::UnitY();  ///< unit length, in the camera
    double px_per_rad = 1;             ///< of the plate, near the optical axis
};

struct MountTie {
    MountEnd a, b;
    double sigma_px = 0.5;
    int moment = 0;  ///< for whoever looks at ties by time
};

struct MountBody {
    std::optional<Matrix3d> mountFromCamera;  ///< a start; nullopt: has no place, its ties are idle
    std::optional<Vector3d> pupil_m;          ///< in the mount
};

struct MountBundle {
    bool usable = false;
    std::vector<std::optional<Matrix3d>> mountFromCamera;  ///< one a body
    std::vector<char> inlier;                              ///< one a tie
    std::vector<double> residual_px;                       ///< one a tie, length, pixels of end b
    /// One a tie whose ends' places are known and apart: the inverse of its distance, 1 / m.
    std::vector<std::optional<double>> inverse_m;
    std::vector<double> sigma_deg;  ///< one a body, worst axis, against the mean of all
    double rms_px = 0;
};

[[nodiscard]] MountBundle adjustMount(const std::vector<MountBody>& bodies,
                                      const std::vector<MountTie>& ties);

}  // namespace plateloom::stitch
