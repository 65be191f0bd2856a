// How the mount turned from frame to frame: the shake that all its cameras share; and by how much
// each camera turned against the others, which is how a knocked one shows.
//
// Corners of a reference frame are registered in every frame; each says where its direction went.
// The rotation that brings the one set of directions onto the other in the least-squares sense is
// Wahba's problem (SIAM Review 7(3), 1965, problem 65-1), solved by the singular values of their
// correlation matrix (Markley 1988), robustly: what moves by itself is outvoted. When too few
// corners of the reference are left in sight, the frame at hand becomes the new reference.
#pragma once

#include <cstdint>
#include <memory>
#include <vector>

#include "calib/lens.h"
#include "stitch/ties/features.h"

namespace plateloom::stitch {

/// One camera at one frame.
struct ShakeView {
    int clip = 0;
    calib::LensMap lens;
    Matrix3d mountFromCamera = Matrix3d::Identity();
    std::shared_ptr<const LightPicture> light;
};

struct ShakeFrame {
    int64_t frame = 0;
    bool known = false;  ///< enough corners were found
    int corners = 0;     ///< that agree
    Matrix3d firstFromMount =
        Matrix3d::Identity();  ///< the mount's turn since the take's first frame
    /// One a clip: by how much it turned against the mount, a rotation vector in the camera's own
    /// axes, radians; and how many corners say so (0: not known).
    std::vector<Vector3d> apart_rad;
    std::vector<int> apart_corners;
    std::vector<double> apart_sigma_rad;  ///< of such a turn: what its corners' scatter leaves open
};

/// Directions of the same things before and after: the rotation that brings `after` onto `before`.
struct DirectionPair {
    Vector3d before, after;
    double px_per_rad = 1;  ///< how far off counts, with `sigma_px`
    double sigma_px = 0.1;
};
struct FoundTurn {
    Matrix3d beforeFromAfter = Matrix3d::Identity();
    int agreeing = 0;
    double rms_px = 0;
    /// Root of the trace of the turn's covariance: all agreeing pairs' scatter, spread over them.
    double sigma_rad = 0;
};
/// Robust (Cauchy weights). Needs three pairs to tell anything; fewer agree with nothing.
[[nodiscard]] FoundTurn turnBetween(const std::vector<DirectionPair>& pairs);

/// Frames go in one after the other, in order. `each_alone`: cameras do not share a mount (one
/// camera, a take for each direction): each has a turn of its own, told in `apart_rad`.
class ShakeTracker {
public:
    ShakeTracker(int clips, bool each_alone);
    ~ShakeTracker();
    ShakeFrame add(int64_t frame, const std::vector<ShakeView>& views);

private:
    struct Reference;
    struct Seen {
        int clip = 0;
        std::vector<DirectionPair> pairs;
        int asked = 0;
    };
    void refer(const ShakeView& view, const Matrix3d& firstFromMount, const Vector3d& apart_rad);
    [[nodiscard]] Seen look(const ShakeView& view, const Matrix3d& nowFromThen) const;
    [[nodiscard]] Matrix3d predicted(const ShakeView& view) const;
    [[nodiscard]] Matrix3d predictedApart(size_t clip) const;

    bool each_alone_;
    std::vector<std::unique_ptr<Reference>> reference_;  // one a clip, null until it was seen
    Matrix3d last_ = Matrix3d::Identity();               // turn of the frame before
    Matrix3d step_ = Matrix3d::Identity();               // from the frame before that to it
    std::vector<Vector3d> last_apart_, apart_before_;    // of the last two frames that told it
    std::vector<char> told_;                             // one a clip: its turn was told once
};

}  // namespace plateloom::stitch
