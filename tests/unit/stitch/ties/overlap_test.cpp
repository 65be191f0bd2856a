#include "stitch/ties/overlap.h"

#include <catch2/catch.hpp>

#include "calib/pose.h"
#include "tests/unit/stitch/solve/turned_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

const calib::Sensor kSensor{36, 20.25, 2048, 1152};

calib::Lens lensOf(double focal_mm, double k1 = 0) {
    calib::Lens lens;
    lens.focal_mm = focal_mm;
    lens.distortion.radial[0] = k1;
    return lens;
}

Matrix3d turned(double pan_deg, double tilt_deg = 0) {
    return calib::worldFromCamera({pan_deg, tilt_deg, 0});
}

// Features on a regular lattice over the whole plate.
PlateFeatures lattice() {
    PlateFeatures features;
    for (int y = 16; y < kSensor.height_px; y += 32)
        for (int x = 16; x < kSensor.width_px; x += 32) features.recorded_px.emplace_back(x, y);
    return features;
}

}  // namespace

TEST_CASE("A plate overlaps itself wholly and its back not at all") {
    const calib::LensMap lens(lensOf(24, 2e-4), kSensor);
    CHECK(overlapShare(lens, lens, Matrix3d::Identity()) == 1.0);
    CHECK(overlapShare(lens, lens, turned(180)) == 0.0);
}

TEST_CASE("The share seen of a panned plate is what its flat plane says") {
    // Undistorted, same tilt: half the angle of view to the side, the far plate's edge lies on the
    // axis, so half of the columns are seen, less a little at the corners.
    const calib::LensMap lens(lensOf(24), kSensor);
    const double half_deg = 0.5 * calib::angleOfView_deg(36, 24);
    CHECK(overlapShare(lens, lens, turned(half_deg)) == Approx(0.5).margin(0.08));
}

TEST_CASE("Only plates of one part are paired, and only those that overlap") {
    Cameras cameras = startingCameras(std::vector<Plate>(5));
    for (int p = 0; p < 5; ++p) {
        cameras.plates[p].sensor = kSensor;
        cameras.plates[p].lens = lensOf(24);
        cameras.plates[p].distortion_known = true;
        cameras.worldFromCamera[p] = turned(p * 40.0);
        cameras.part[p] = 0;
    }
    cameras.part[3] = 1;  // hangs together with nothing here
    cameras.worldFromCamera[4].reset();
    const auto pairs = overlappingPairs(cameras, lensMaps(cameras), 0.02);
    CHECK(pairs == std::vector<std::pair<int, int>>{{0, 1}, {1, 2}});
}

TEST_CASE("Where two plates would coincide, half of what true neighbours match is expected") {
    const calib::LensMap lens(lensOf(24), kSensor);
    const std::vector<PlateFeatures> features(3, lattice());
    const std::vector<calib::LensMap> lenses(3, lens);
    PairRotation pair;
    pair.a = 0;
    pair.b = 1;
    pair.bFromA = turned(30);
    const double seen =
        overlapShare(lens, lens, pair.bFromA) * double(features[0].recorded_px.size());
    pair.inliers = int(0.2 * seen);  // one feature in five matches
    const auto expected = expectedMatches(features, lenses, {{0, 1}, {1, 2}}, {pair});
    const double all = double(features[0].recorded_px.size());
    CHECK(expected(1, 2, Matrix3d::Identity()) == Approx(0.1 * all).epsilon(0.1));
    CHECK(expected(1, 2, turned(30)) == Approx(0.1 * seen).epsilon(0.15));
    CHECK(expected(1, 2, turned(90)) == 0);            // they would not overlap
    CHECK(expected(0, 2, Matrix3d::Identity()) == 0);  // never tried: nothing is missing
    CHECK(expectedMatches(features, lenses, {}, {}) == nullptr);
}
