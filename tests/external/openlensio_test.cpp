// The lens equations of OpenLensIO 1.0 (SMPTE RIS-OSVP; the paper that goes with OpenTrackIO),
// worked by hand for one point with numbers that can be followed on paper.
#include <catch2/catch.hpp>

#include "calib/lens.h"

using namespace plateloom::calib;

namespace {

constexpr double kByHand = 1e-12;  // the numbers below are written out to that

Lens workedLens(DistortionDirection direction) {
    Lens lens;
    lens.focal_mm = 20;
    lens.distortion.direction = direction;
    lens.distortion.radial = {1e-3, 2e-3, 1e-5, 2e-5, 1e-7, 2e-7};
    lens.distortion.tangential = {1e-3, 2e-3};
    lens.distortion_offset_mm = {0.1, -0.2};
    lens.projection_offset_mm = {0.3, 0.05};
    return lens;
}

// At (3, 4) from the distortion centre r² = 25:
//   above = 1 + 1e-3 25 + 1e-5 625 + 1e-7 15625 = 1.0328125       k1, k3, k5
//   below = 1 + 2e-3 25 + 2e-5 625 + 2e-7 15625 = 1.065625        k2, k4, k6
//   tangential x = 2 p1 12 + p2 (25 + 18) = 0.024 + 0.086 = 0.110
//   tangential y = 2 p2 12 + p1 (25 + 32) = 0.048 + 0.057 = 0.105
const double kRatio = 1.0328125 / 1.065625;
const Vector2d kCentre(0.4, -0.15);  // dC + dP
const Vector2d kFrom = kCentre + Vector2d(3, 4);
const Vector2d kTo = kCentre + Vector2d(3 * kRatio + 0.110, 4 * kRatio + 0.105);
const Sensor kSensor{36, 20.25, 2048, 1152};

}  // namespace

TEST_CASE("D-U takes the worked point from recorded to flat, and the projection takes it off") {
    const LensMap map(workedLens(DistortionDirection::recorded_to_flat), kSensor);
    CHECK((*map.flatFromRecorded_mm(kFrom) - kTo).norm() < kByHand);
    CHECK((*map.recordedFromFlat_mm(kTo) - kFrom).norm() < 1e-10);
    // e_u = F (x / z) + dP
    const Vector3d ray = *map.rayFromRecorded(pixelFromMm(kSensor, kFrom));
    CHECK(20 * ray.x() / ray.y() + 0.3 == Approx(kTo.x()).epsilon(kByHand));
    CHECK(-20 * ray.z() / ray.y() + 0.05 == Approx(kTo.y()).epsilon(kByHand));
}

TEST_CASE("U-D takes the same point from flat to recorded") {
    const LensMap map(workedLens(DistortionDirection::flat_to_recorded), kSensor);
    CHECK((*map.recordedFromFlat_mm(kFrom) - kTo).norm() < kByHand);
    CHECK((*map.flatFromRecorded_mm(kTo) - kFrom).norm() < 1e-10);
}

TEST_CASE("Exposure falloff is counted in millimetres from the centre of the picture") {
    Lens lens = workedLens(DistortionDirection::recorded_to_flat);
    lens.shading = {1e-3, 1e-6, 1e-9};
    // r = 10 mm: 1 - (0.1 + 0.01 + 0.001)
    const LensMap map(lens, kSensor);
    CHECK(map.transmission(pixelFromMm(kSensor, {6, 8})) == Approx(0.889).epsilon(kByHand));
    CHECK(map.transmission({1024, 576}) == 1.0);
}
