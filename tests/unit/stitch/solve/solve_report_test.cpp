#include "stitch/solve/solve_report.h"

#include <catch2/catch.hpp>

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

Cameras twoPlates(double focal_sigma) {
    std::vector<Plate> plates(2);
    for (auto& plate : plates) {
        plate.sensor = {36, 20.25, 640, 360};
        plate.lens.focal_mm = 28;
    }
    Cameras cameras = startingCameras(plates);
    for (auto& rotation : cameras.worldFromCamera) rotation = calib::Matrix3d::Identity();
    cameras.correction[0].term[kC1] = 0.05;
    cameras.correction[0].covariance(kScale, kScale) = focal_sigma * focal_sigma;
    cameras.correction[0].covariance(kC1, kC1) = 1e-6;
    return cameras;
}

}  // namespace

TEST_CASE("A lens found from overlaps is told with its uncertainty", "[found]") {
    const auto found = foundLenses(twoPlates(0.001));
    REQUIRE(found.notes.size() == 1);
    CHECK_THAT(found.notes[0], Catch::Contains("28.000 mm +-0.028"));
    CHECK_THAT(found.notes[0], Catch::Contains("-4.76 % in the corners +-0.10"));
    CHECK(found.warnings.empty());
}

TEST_CASE("A lens that the overlaps hardly tell is warned of", "[found]") {
    const auto found = foundLenses(twoPlates(0.02));
    REQUIRE(found.warnings.size() == 1);
    CHECK_THAT(found.warnings[0], Catch::Contains("2.0 % only"));
}

TEST_CASE("Of a lens that was known nothing is told", "[found]") {
    Cameras cameras = twoPlates(0.001);
    for (auto& plate : cameras.plates) {
        plate.distortion_known = true;
        plate.focal_sigma = 0.001;
    }
    CHECK(foundLenses(cameras).notes.empty());
}
