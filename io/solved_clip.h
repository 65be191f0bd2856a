// What a line of SOLVE.jsonl says beyond a still's when its plate is a clip: how the camera stood
// and shone over the take. Under custom.plateloom.clip.
#pragma once

#include <array>
#include <cstdint>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <vector>

#include "calib/pose.h"
#include "io/json_fields.h"

namespace plateloom::io {

struct SolvedClip {
    /// Frames of the take, both included, and by how much the clip's own numbers are ahead of them.
    int64_t first = 0, last = 0, ahead = 0;

    /// A camera that was knocked stands otherwise from a frame on; the sample's own rotation holds
    /// before the first of these.
    struct Knocked {
        int64_t from_frame = 0;
        calib::PanTiltRoll pose;
    };
    std::vector<Knocked> knocked;
    /// Knocks that were found, whether solved in two parts or not: `turn` is from after to before,
    /// in the camera's own axes.
    struct FoundKnock {
        int64_t frame = 0;  ///< the first one after
        calib::PanTiltRoll turn;
    };
    std::vector<FoundKnock> knocks;
    std::optional<calib::Vector3d> pupil_m;  ///< entrance pupil against the mean of all cameras'

    /// Gains over time, linear r g b; at least one. They belong to `known_stops` of exposure.
    struct Gain {
        int64_t frame = 0;
        std::array<double, 3> gain{1, 1, 1};
    };
    std::vector<Gain> gains;
    std::optional<double> known_stops;

    /// What the lens of each frame takes from the solve.
    double focal_scale = 1;
    bool distortion_found = false, shading_found = false;

    /// Where this clip's overlap with a later one agrees best; infinity is 0.
    struct Overlap {
        std::string with;  ///< the other clip's file
        double inverse_m = 0;
        calib::Vector3d direction = calib::Vector3d::UnitY();  ///< of its middle
        int ties = 0;
        double apart_m = 0;  ///< between the entrance pupils
        /// Within which four ties of five lie, as inverses, 1 / m; none where nobody says.
        std::optional<double> nearest_inverse_m, farthest_inverse_m;
        /// Parallax left when composed for a distance, pixels of this clip's partner.
        struct Left {
            double inverse_m = 0, parallax_px = 0;
        };
        std::vector<Left> left;
    };
    std::vector<Overlap> overlaps;

    std::string steady;  ///< "lock", "follow", or "" when the mount's shake stays in
    /// Frames from which the seams run otherwise, in time: the names of the pictures in the folder
    /// of seams.
    std::vector<int64_t> seams;
    /// What seams and shake were written together with this line bear too; "" where nobody says.
    std::string set;
    /// Why they do, of those for which there is something to say.
    struct SeamMove {
        int64_t frame = 0;
        std::string why;
    };
    std::vector<SeamMove> seam_moves;
    /// Frames at which the mount's shake could not be told. First and last of each run.
    std::vector<std::pair<int64_t, int64_t>> shake_unknown;
    /// Frames at which the camera is black: the others show what it would. First and last of each
    /// run.
    std::vector<std::pair<int64_t, int64_t>> black;
    double typical_light =
        0;  ///< the panorama's median luminance, for pictures for display; 0: unknown
};

[[nodiscard]] nlohmann::ordered_json clipJson(const SolvedClip& clip);
/// Throws InputError naming line and field.
[[nodiscard]] SolvedClip readSolvedClip(const JsonFields& fields);

}  // namespace plateloom::io
