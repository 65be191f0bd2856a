#include "world/mount_shake.h"

#include <cmath>

#include "calib/angle.h"
#include "world/noise.h"

namespace plateloom::world {

namespace {

struct Swing {
    double low_hz, high_hz, share;
};
// A slow sway, what a person's steps do, and a rattle; shares add up to 1.
constexpr Swing kSwings[] = {{0.6, 1.1, 0.60}, {2.1, 2.9, 0.27}, {4.3, 5.7, 0.13}};

double swingAt(uint32_t seed, uint32_t axis, double time_s) {
    Dice dice(seed * 131u + axis * 17u + 5u);
    double sum = 0;
    for (const Swing& swing : kSwings) {
        const double hz = dice.between(float(swing.low_hz), float(swing.high_hz));
        const double phase = dice.between(0, 1);
        sum += swing.share * std::sin(2 * calib::kPi * (hz * time_s + phase));
    }
    return sum;
}

}  // namespace

calib::PanTiltRoll mountAt(const MountShake& shake, double time_s) {
    return {shake.reach_deg * swingAt(shake.seed, 0, time_s),
            shake.reach_deg * swingAt(shake.seed, 1, time_s),
            0.5 * shake.reach_deg * swingAt(shake.seed, 2, time_s)};
}

}  // namespace plateloom::world
