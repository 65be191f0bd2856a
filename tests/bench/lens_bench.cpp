// What a lens costs: making a LensMap, and rays to and from recorded pixels. One thread.
#include <chrono>
#include <cstdio>

#include "calib/lens.h"

using namespace plateloom::calib;

namespace {

template <class Work>
double perSecond(int count, Work work) {
    const auto start = std::chrono::steady_clock::now();
    for (int i = 0; i < count; ++i) work(i);
    return count / std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

}  // namespace

int main() {
    const Sensor sensor{36, 20.25, 2048, 1152};
    for (const bool tangential : {false, true}) {
        Lens lens;
        lens.focal_mm = 24;
        lens.distortion.radial = {2e-4, 0, 3e-7, 0, 0, 0};
        if (tangential) lens.distortion.tangential = {2e-5, -1e-5};
        const LensMap map(lens, sensor);
        double sum = 0;
        const double made = perSecond(20000, [&](int i) {
            lens.focal_mm = 24 + 1e-6 * i;
            sum += LensMap(lens, sensor).validRadius_mm();
        });
        const auto px = [&](int i) { return Vector2d(i % 2048 + 0.5, i / 2048 % 1152 + 0.5); };
        const double closed =
            perSecond(4000000, [&](int i) { sum += map.rayFromRecorded(px(i))->x(); });
        const double solved = perSecond(2000000, [&](int i) {
            sum += map.recordedFromRay(map.rayFromFlat(px(i))).value_or(Vector2d(0, 0)).x();
        });
        std::printf(
            "lens, D-U %-18s made in %.1f us; to rays %.1f M/s; from rays %.1f M/s (sum %g)\n",
            tangential ? "with tangential" : "radial only", 1e6 / made, closed / 1e6, solved / 1e6,
            sum);
    }
}
