// A take solved: how each camera stands on its mount, through what lens, and what changes with
// time. What SOLVE.jsonl of a take holds.
//
// The mount's own frame is the panorama's world: pan 0 and the horizon are found as for stills.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calib/lens.h"
#include "stitch/clips/take.h"
#include "stitch/plates/compose_distance.h"
#include "stitch/plates/plate_set.h"
#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

/// How a camera stands from a frame of the take on. A camera that is knocked has a second one.
struct Standing {
    int64_t from_frame = 0;
    Matrix3d mountFromCamera = Matrix3d::Identity();
};

/// What a solve found of a lens, to be put onto each frame's own lens sample.
struct LensFound {
    calib::Lens lens;                          ///< as used at the moment that was solved first
    double focal_scale = 1;                    ///< the solved focal length over the sample's
    bool distortion = false, shading = false;  ///< found from the overlaps: the sample had none
};

struct MountCamera {
    bool placed = false;
    std::string why_not;
    std::vector<Standing> standing;   ///< in time; at least one when placed
    std::optional<Vector3d> pupil_m;  ///< in the mount, against the mean of all
    LensFound lens;
    calib::Sensor sensor;
    int ties = 0;
    double rms_px = 0, sigma_deg = 0;

    [[nodiscard]] const Matrix3d& at(int64_t frame) const {
        size_t i = standing.size() - 1;
        while (i > 0 && standing[i].from_frame > frame) --i;
        return standing[i].mountFromCamera;
    }
    /// Pixels per radian near the axis; 0 where it has no place.
    [[nodiscard]] double focal_px() const {
        return placed ? calib::LensMap(lens.lens, sensor).focal_px() : 0;
    }
};

/// What ties say of the distance in one overlap.
struct OverlapDistance {
    int a = 0, b = 0;  ///< cameras
    int ties = 0;
    double apart_m = 0;    ///< between the pupils
    double inverse_m = 0;  ///< 1 / m at which the overlap agrees best: the ties' median
    double nearest_m = 0,
           farthest_m = 0;  ///< within which four ties of five lie; farthest may be infinite
    Vector3d direction = Vector3d::UnitY();  ///< of its middle
    /// Median parallax left when composed for a distance, plate pixels.
    struct Left {
        double inverse_m = 0, parallax_px = 0;
    };
    std::vector<Left> left;
};

struct Mount {
    std::vector<MountCamera> cameras;       ///< one a clip of the take
    std::vector<OverlapDistance> overlaps;  ///< where pupils are known and apart
    std::vector<int64_t> moments;           ///< frames that were solved from
    double rms_px = 0;
    int ties = 0;
    std::vector<std::string> notes, warnings;
};

/// The lens of one frame: its own sample, with what the solve found put in.
[[nodiscard]] calib::Lens lensOf(const Plate& plate, const LensFound& found);

}  // namespace plateloom::stitch
