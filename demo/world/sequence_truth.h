// What changes from frame to frame of a panorama sequence: in light, where nothing should, and in
// place, where the mount's shake should be gone.
#pragma once

#include <vector>

#include "calib/pose.h"
#include "io/picture.h"

namespace plateloom::world {

/// Of |b - a| / (a + 0.001), the worst channel, over pixels that both frames cover.
struct FrameChange {
    double largest = 0, p999 = 0, p99 = 0, median = 0;
    int x = 0, y = 0;            ///< where it is largest
    double far_off = 0;          ///< share of pixels beyond 1 %: what moves, or flickers
    bool cover_differs = false;  ///< one frame covers a pixel that the other doesn't
};
/// Both RGBA or RGB and of one size.
[[nodiscard]] FrameChange frameChange(const io::Picture& a, const io::Picture& b);

/// How far an equirectangular frame is turned against another, by patches found again in it
/// (stitch/ties/patch_registration.h): a small rotation fitted to all patches' shifts, robustly,
/// since things move and lights flicker.
struct FrameTurn {
    calib::Vector3d turn_rad{0, 0,
                             0};  ///< rotation vector: b shows at (1 + turn x) d what a has at d
    int patches = 0;
    double turn_px = 0;      ///< RMS over the patches of what the turn does, panorama pixels
    double residual_px = 0;  ///< of single patches about it, robust (1.48 x median length / sqrt 2)
};
[[nodiscard]] FrameTurn frameTurn(const io::Picture& a, const io::Picture& b);

struct ResidualShake {
    std::vector<FrameTurn> each;        ///< of every frame but the first against the first
    double rms_px = 0, largest_px = 0;  ///< of all frames' turns about their mean
    int fewest_patches = 0;
};
[[nodiscard]] ResidualShake residualShake(const std::vector<FrameTurn>& against_first,
                                          double px_per_rad);

}  // namespace plateloom::world
