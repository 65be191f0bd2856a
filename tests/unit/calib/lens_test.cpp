#include "calib/lens.h"

#include <catch2/catch.hpp>
#include <random>

using namespace plateloom::calib;

namespace {

constexpr double kExact_px = 1e-6;
const Sensor kSensor{36, 20.25, 2048, 1152};

Lens barrel() {
    Lens lens;
    lens.focal_mm = 20;
    lens.distortion.radial = {4e-4, 0, 3e-7, 0, 0, 0};  // D-U: the flat picture is larger
    return lens;
}

std::vector<Lens> lenses() {
    std::vector<Lens> out{barrel()};
    Lens pincushion = barrel();
    pincushion.distortion.radial = {-3e-4, 0, 1e-7, 0, 0, 0};
    out.push_back(pincushion);
    Lens rational = barrel();
    rational.distortion.radial = {5e-4, 2e-4, 1e-7, 3e-7, 2e-10, 1e-10};
    rational.distortion.tangential = {4e-5, -7e-5};
    rational.distortion_offset_mm = {0.3, -0.2};
    rational.projection_offset_mm = {-0.4, 0.15};
    out.push_back(rational);
    Lens mustache = barrel();
    mustache.distortion.radial = {6e-4, 0, -1.1e-6, 0, 1.2e-9, 0};
    out.push_back(mustache);
    for (size_t i = 0, n = out.size(); i < n; ++i) {
        out.push_back(out[i]);
        out.back().distortion.direction = DistortionDirection::flat_to_recorded;
    }
    return out;
}

}  // namespace

TEST_CASE("Distorting what was undistorted gives the same point over the whole frame") {
    for (const Lens& lens : lenses()) {
        REQUIRE_FALSE(faultOf(lens, kSensor));
        const LensMap map(lens, kSensor);
        double worst_px = 0;
        for (int j = 0; j <= 72; ++j)
            for (int i = 0; i <= 128; ++i) {
                const Vector2d px(16.0 * i, 16.0 * j);
                const auto ray = map.rayFromRecorded(px);
                REQUIRE(ray);
                REQUIRE(std::abs(ray->norm() - 1) < 1e-14);
                const auto back = map.recordedFromRay(*ray);
                REQUIRE(back);
                worst_px = std::max(worst_px, (*back - px).norm());
            }
        CHECK(worst_px < kExact_px);
    }
}

TEST_CASE("A lens without distortion is a pinhole, and flat pixels are its pixels") {
    Lens lens;
    lens.focal_mm = 18;
    const LensMap map(lens, kSensor);
    const Vector3d right_edge = *map.rayFromRecorded({2048, 576});
    CHECK((right_edge - Vector3d(1, 1, 0).normalized()).norm() < 1e-15);
    CHECK((map.rayFromFlat({2048, 576}) - right_edge).norm() < 1e-15);
    CHECK((*map.flatFromRay(right_edge) - Vector2d(2048, 576)).norm() < 1e-9);
    CHECK(map.focal_px() == Approx(1024));
    CHECK_FALSE(map.recordedFromRay({1, 0, 0}));
    CHECK_FALSE(map.recordedFromRay({0, -1, 0}));
}

TEST_CASE("Up is up: a ray above the axis meets the upper half of the picture") {
    const LensMap map(barrel(), kSensor);
    CHECK(map.recordedFromRay(Vector3d(0, 1, 0.2))->y() < 576);
    CHECK(map.recordedFromRay(Vector3d(0.2, 1, 0))->x() > 1024);
}

TEST_CASE("A point beyond a fold is never brought back into the picture, in either direction") {
    Lens folding = barrel();
    folding.distortion.radial = {-2e-4, 0, 0, 0, 0, 0};
    // r (1 - 2e-4 r²) turns at r = sqrt(1 / 6e-4) = 40.82 mm.
    for (const auto direction :
         {DistortionDirection::recorded_to_flat, DistortionDirection::flat_to_recorded}) {
        folding.distortion.direction = direction;
        const LensMap map(folding, kSensor);
        CHECK(map.validRadius_mm() == Approx(40.8248).epsilon(1e-5));
        const auto closed = [&](double mm) {
            const Vector2d p(mm, 0);
            return direction == DistortionDirection::recorded_to_flat ? map.flatFromRecorded_mm(p)
                                                                      : map.recordedFromFlat_mm(p);
        };
        CHECK(closed(40.8));
        CHECK_FALSE(closed(40.9));
        CHECK_FALSE(closed(70.7));  // where the bare polynomial would say 0: the picture's middle
        CHECK_FALSE(closed(1e9));
        const auto open = [&](double mm) {
            const Vector2d p(mm, 0);
            return direction == DistortionDirection::recorded_to_flat ? map.recordedFromFlat_mm(p)
                                                                      : map.flatFromRecorded_mm(p);
        };
        CHECK(open(27.2));  // its peak is at 27.22 mm
        CHECK_FALSE(open(27.3));
        CHECK_FALSE(open(1e9));
    }
}

TEST_CASE("Tangential terms fold as well, and what lies beyond is refused") {
    Lens lens;
    lens.focal_mm = 20;
    lens.distortion.tangential = {4e-3, 3e-3};  // far beyond a real lens
    lens.distortion.direction = DistortionDirection::flat_to_recorded;
    const LensMap map(lens, kSensor);
    // One-to-one while 6 r |p| < 1.
    CHECK(map.validRadius_mm() == Approx(1 / (6 * 5e-3)));
    std::mt19937 random(3);
    std::uniform_real_distribution<double> mm(-300, 300);
    int inside = 0;
    for (int i = 0; i < 20000; ++i) {
        const auto recorded = map.recordedFromFlat_mm({mm(random), mm(random)});
        if (!recorded) continue;
        ++inside;
        REQUIRE(map.flatFromRecorded_mm(*recorded));
    }
    CHECK(inside > 0);
}

TEST_CASE("Two points never share a place: the map is one-to-one where it answers") {
    // Random lenses, wild ones among them; whatever has an inverse comes back to itself.
    std::mt19937 random(11);
    std::normal_distribution<double> spread(0, 1);
    for (int trial = 0; trial < 200; ++trial) {
        Lens lens = barrel();
        const double scale[6] = {3e-4, 3e-4, 4e-7, 4e-7, 5e-10, 5e-10};
        for (int i = 0; i < 6; ++i) lens.distortion.radial[i] = scale[i] * spread(random);
        lens.distortion.tangential = {1e-4 * spread(random), 1e-4 * spread(random)};
        const LensMap map(lens, kSensor);
        for (int i = 0; i < 200; ++i) {
            const Vector2d p(30 * spread(random), 30 * spread(random));
            const auto flat = map.flatFromRecorded_mm(p);
            if (!flat) continue;
            const auto back = map.recordedFromFlat_mm(*flat);
            REQUIRE(back);
            // Where the slope nears zero a place is only known to the root of a rounding error.
            REQUIRE((*back - p).norm() < 1e-5);
        }
    }
}

TEST_CASE("A fault is found wherever in the frame it lies, and only there") {
    CHECK_FALSE(faultOf(barrel(), kSensor));
    Lens lens = barrel();
    lens.focal_mm = 0;
    CHECK(faultOf(lens, kSensor));
    lens = barrel();
    lens.distortion.radial[1] = std::nan("");
    CHECK(faultOf(lens, kSensor));
    CHECK(faultOf(barrel(), Sensor{}));

    lens = barrel();
    lens.distortion.radial = {-9e-4, 0, 0, 0, 0, 0};  // turns at 19.2 mm; the corner is at 20.7
    CHECK_THAT(*faultOf(lens, kSensor), Catch::Matchers::Contains("folds"));
    CHECK_FALSE(faultOf(lens, Sensor{30, 20, 2048, 1365}));  // 18.0 mm: not in this frame

    // Coefficients of another unit, such as of a normalized radius.
    using Direction = DistortionDirection;
    for (const auto direction : {Direction::recorded_to_flat, Direction::flat_to_recorded}) {
        lens = barrel();
        lens.distortion.direction = direction;
        lens.distortion.radial = {1e9, 0, 0, 0, 0, 0};
        CHECK_THAT(*faultOf(lens, kSensor), Catch::Matchers::Contains("check the unit"));
        lens.distortion.radial = {0.02, 0, 0, 0, 0, 0};
        CHECK_FALSE(faultOf(lens, kSensor));
    }

    lens = barrel();
    lens.shading = {3e-3, 0, 0};  // zero at 18.3 mm: inside the corner
    CHECK_THAT(*faultOf(lens, kSensor), Catch::Matchers::Contains("falloff"));
    // Dark in a ring round 10 mm only (s = r²: 1 - 0.021 s + 1.05e-4 s² at s = 100), bright beyond.
    lens.shading = {0.021, -1.05e-4, 0};
    CHECK_THAT(*faultOf(lens, Sensor{24, 16, 2048, 1365}),
               Catch::Matchers::Contains("at 10.00 mm"));
    lens.shading = {0.019, -0.95e-4, 0};
    CHECK_FALSE(faultOf(lens, Sensor{24, 16, 2048, 1365}));
}

TEST_CASE("A distortion centre outside the frame leaves the frame usable") {
    Lens lens = barrel();
    lens.distortion_offset_mm = {25, 3};
    REQUIRE_FALSE(faultOf(lens, kSensor));
    const LensMap map(lens, kSensor);
    const auto ray = map.rayFromRecorded({0, 0});
    REQUIRE(ray);
    CHECK(map.recordedFromRay(*ray)->norm() < kExact_px);
}
