#include "calib/frame_outline.h"

#include <catch2/catch.hpp>
#include <random>

using namespace plateloom::calib;

namespace {

const Sensor kSensor{36, 20.25, 4096, 2304};

Lens lensOf(double focal_mm, double k1) {
    Lens lens;
    lens.focal_mm = focal_mm;
    lens.distortion.radial[0] = k1;
    return lens;
}

}  // namespace

TEST_CASE("Without distortion the outline is the pinhole's frame", "[outline]") {
    const FrameOutline outline(LensMap(lensOf(28, 0), kSensor));
    CHECK(outline.across_deg() == Approx(angleOfView_deg(36, 28)).epsilon(1e-8));
    CHECK(outline.upright_deg() == Approx(angleOfView_deg(20.25, 28)).epsilon(1e-8));
    CHECK(outline.contains(18 / 28.0 - 1e-6, 0.3));
    CHECK_FALSE(outline.contains(18 / 28.0 + 1e-6, 0.3));
}

TEST_CASE("A barrel lens sees more than its focal length says, a pincushion less", "[outline]") {
    // D-U: flat = recorded (1 + k1 r²), so k1 above 0 spreads the frame over more of the world.
    CHECK(FrameOutline(LensMap(lensOf(28, 2e-4), kSensor)).across_deg() > 66);
    CHECK(FrameOutline(LensMap(lensOf(28, -1e-4), kSensor)).across_deg() < 65);
}

TEST_CASE("Inside is what the lens itself records, for bent and shifted lenses", "[outline]") {
    std::mt19937 random(4);
    Lens lens = lensOf(24, 3e-4);
    lens.distortion.radial[2] = -4e-7;
    lens.distortion.tangential = {2e-5, -1e-5};
    lens.distortion_offset_mm = {0.3, -0.2};
    lens.projection_offset_mm = {1.5, 0.8};
    for (const auto direction :
         {DistortionDirection::recorded_to_flat, DistortionDirection::flat_to_recorded}) {
        lens.distortion.direction = direction;
        const LensMap map(lens, kSensor);
        const FrameOutline outline(map);
        std::uniform_real_distribution<double> u(-1.1, 1.1), v(-0.7, 0.7);
        int wrong = 0;
        for (int i = 0; i < 20000; ++i) {
            const Vector3d ray = Vector3d(u(random), 1, v(random)).normalized();
            const auto px = map.recordedFromRay(ray);
            wrong += outline.contains(ray) != (px && map.inPicture(*px));
        }
        CHECK(wrong <= 2);
    }
}

TEST_CASE("Rays over the picture are spread evenly over its pixels", "[outline]") {
    const LensMap map(lensOf(28, 2e-4), kSensor);
    const auto rays = raysOverPicture(map, 987);
    REQUIRE(rays.size() == 987);
    int left = 0, corner = 0;
    for (const Vector3d& ray : rays) {
        const auto px = map.recordedFromRay(ray);
        REQUIRE(px);
        left += px->x() < 0.37 * 4096;
        corner += px->x() > 0.8 * 4096 && px->y() < 0.3 * 2304;
    }
    CHECK(left / 987.0 == Approx(0.37).margin(0.002));
    CHECK(corner / 987.0 == Approx(0.06).margin(0.003));
}

TEST_CASE("A lens shifted past its own axis has no outline, and says so", "[outline]") {
    Lens lens = lensOf(28, 0);
    lens.projection_offset_mm = {25, 0};
    const FrameOutline outline(LensMap(lens, kSensor));
    CHECK_FALSE(outline.seesItsAxis());
    CHECK_FALSE(outline.contains(0, 0));
}
