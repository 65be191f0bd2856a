// Tie points to a few hundredths of a pixel, from the pixels themselves: once cameras are known to
// a pixel or so, any textured place of an overlap is a tie point. Corners spread evenly over the
// overlap are registered patch against patch (Lucas and Kanade 1981; inverse compositional, gain
// and offset free, with the local affine map that the two cameras give), at full plate resolution,
// and checked in both directions. No detector's bias can enter.
#pragma once

#include <functional>
#include <optional>
#include <vector>

#include "stitch/ties/features.h"

namespace plateloom::stitch {

/// Where a recorded position of plate a falls on plate b; nullopt outside.
using TransferAToB = std::function<std::optional<Vector2d>(const Vector2d& recorded_px_a)>;

struct RefineSettings {
    int wanted = 150;        ///< tie points for one pair
    double search_px = 2.0;  ///< how far the prediction may be off
    int patch_px = 21;       ///< edge of the patch
    double least_correlation = 0.8;
};

/// Ties of one pair. `sigma_px` of each comes from the patch's gradients and its residual.
[[nodiscard]] std::vector<Tie> refineTies(int a, int b, const LightPicture& light_a,
                                          const LightPicture& light_b, const TransferAToB& bFromA,
                                          const RefineSettings& settings);

/// The same for given starting ties (their px_b is improved, px_a stays); those that can't be
/// registered are dropped.
[[nodiscard]] std::vector<Tie> refineGivenTies(const std::vector<Tie>& ties,
                                               const LightPicture& light_a,
                                               const LightPicture& light_b,
                                               const TransferAToB& bFromA,
                                               const RefineSettings& settings);

}  // namespace plateloom::stitch
