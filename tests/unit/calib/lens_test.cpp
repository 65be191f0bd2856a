#include "calib/lens.h"

#include <catch2/catch.hpp>

using namespace plateloom::calib;

TEST_CASE("A recorded point comes back from its flat position, in both directions of the model") {
    const Sensor sensor{36, 20.25, 2048, 1152};
    Lens lens;
    lens.focal_mm = 24;
    lens.distortion.radial = {3e-4, 0, -2e-7, 0, 0, 0};
    for (const auto direction :
         {DistortionDirection::recorded_to_flat, DistortionDirection::flat_to_recorded}) {
        lens.distortion.direction = direction;
        const LensMap map(lens, sensor);
        const Vector2d px(1999.5, 12.25);
        const auto ray = map.rayFromRecorded(px);
        REQUIRE(ray);
        const auto back = map.recordedFromRay(*ray);
        REQUIRE(back);
        CHECK((*back - px).norm() < 1e-6);
    }
}
