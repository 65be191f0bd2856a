// Which way is up and where pan 0 is.
#pragma once

#include <optional>
#include <vector>

#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

/// The rotation that most of these agree on: from the one nearest to all the others, by reweighted
/// means; a few that are far off do not move it. At least one.
[[nodiscard]] Matrix3d robustMean(const std::vector<Matrix3d>& rotations);

enum class Level { automatic, poses, horizon, none };

/// A rotation to put before every worldFromCamera: aligned to the poses where there are (robustly),
/// else so that the cameras' X axes lie level (Brown and Lowe 2007, section 5), which assumes that
/// nobody held the camera askew on purpose. Where that leaves up open (one plate, one column), up
/// is what makes the plates' tilts least. `none` keeps the first placed plate as it was held: pan,
/// tilt and roll 0. `north` is the plate that looks to pan 0; without it, and without poses, pan 0
/// is the middle of the plates, or the first placed plate when they go all the way round.
/// `automatic` takes the poses where a placed plate has one, else the horizon. Identity when no
/// plate is placed.
[[nodiscard]] Matrix3d levelRotation(const std::vector<std::optional<Matrix3d>>& worldFromCamera,
                                     const std::vector<std::optional<Matrix3d>>& poses, Level level,
                                     std::optional<int> north);

}  // namespace plateloom::stitch
