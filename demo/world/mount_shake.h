// How a mount shakes: wind, feet on a platform, an idling engine. A smooth turn about the mount's
// own origin, the same for all cameras on it.
#pragma once

#include <cstdint>

#include "calib/pose.h"

namespace plateloom::world {

struct MountShake {
    double reach_deg = 0.25;  ///< pan and tilt stay within it, roll within half of it; 0: still
    uint32_t seed = 1;
};

/// worldFromMount at a time: at rest the mount's own axes are the world's.
[[nodiscard]] calib::PanTiltRoll mountAt(const MountShake& shake, double time_s);

}  // namespace plateloom::world
