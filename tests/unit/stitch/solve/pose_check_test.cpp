#include "stitch/solve/pose_check.h"

#include <catch2/catch.hpp>

#include "tests/unit/stitch/solve/turned_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

const calib::Sensor kSensor{36, 20.25, 2048, 1152};

// Eight plates in a ring, solved in a world that is turned against that of their poses.
struct Ring {
    Cameras cameras;
    std::vector<int> group;

    explicit Ring(double pan_sign) {
        calib::Lens lens;
        lens.focal_mm = 24;
        const auto truth = turnedRows({{5, 8}}, 3);
        auto set = turnedPlates(truth, lens, lens, kSensor);
        cameras = startingCameras(set.plates);
        const Matrix3d solvedFromWorld = calib::worldFromCamera({50, 4, -3});
        for (int p = 0; p < cameras.size(); ++p) {
            auto pose = calib::panTiltRoll(truth[size_t(p)]);
            pose.pan_deg = pan_sign * pose.pan_deg + 0.3 * (p % 3);
            cameras.plates[size_t(p)].pose = pose;
            cameras.plates[size_t(p)].pose_sigma_deg = 1;
            cameras.plates[size_t(p)].file.path = "p" + std::to_string(p) + ".exr";
            cameras.worldFromCamera[size_t(p)] = solvedFromWorld * truth[size_t(p)];
            group.push_back(p);
        }
    }
};

}  // namespace

TEST_CASE("Poses that agree with the ties but for the world's turn are not mentioned") {
    const Ring ring(1);
    const PoseCheck check = checkPoses(ring.cameras, ring.group);
    CHECK(check.off.empty());
    CHECK_FALSE(check.mirrored);
    CHECK(check.inWords(ring.cameras).empty());
}

TEST_CASE("A pose that contradicts the ties is told with its plate and its size") {
    Ring ring(1);
    ring.cameras.plates[5].pose->pan_deg += 40;
    const PoseCheck check = checkPoses(ring.cameras, ring.group);
    CHECK(check.off == std::vector<int>{5});
    CHECK(check.worst_deg == Approx(40).margin(1));
    CHECK_FALSE(check.mirrored);
    CHECK_THAT(check.inWords(ring.cameras),
               Catch::Contains("p5.exr") && Catch::Contains("by 40 degrees"));
}

TEST_CASE("A head that counts pan clockwise is known by its mirrored pans") {
    Ring ring(-1);
    const PoseCheck check = checkPoses(ring.cameras, ring.group);
    CHECK(check.mirrored);
    CHECK(check.worst_deg > 60);
    CHECK(check.worst_mirrored_deg < 1);
    CHECK_THAT(check.inWords(ring.cameras), Catch::Contains("clockwise"));
    mirrorPans(ring.cameras);
    CHECK(checkPoses(ring.cameras, ring.group).off.empty());
}

TEST_CASE("Poses in disorder are contradictions, and no mirror is made out of them") {
    Ring ring(1);
    const Cameras before = ring.cameras;
    for (size_t p = 0; p < 8; ++p) ring.cameras.plates[p].pose = before.plates[3 * p % 8].pose;
    const PoseCheck check = checkPoses(ring.cameras, ring.group);
    CHECK(check.off.size() >= 4);
    CHECK_FALSE(check.mirrored);
}
