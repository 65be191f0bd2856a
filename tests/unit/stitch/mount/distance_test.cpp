#include <catch2/catch.hpp>

#include "calib/pose.h"
#include "stitch/moving/solve_take.h"
#include "stitch/plates/placed_plate.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

PlacedPlate plateAt(const calib::Vector3d& pupil_m, const ComposeDistance& distance) {
    calib::Lens lens;
    lens.focal_mm = 28;
    PlacedPlate plate;
    plate.lens = calib::LensMap(lens, {36, 20.25, 2048, 1152});
    plate.worldFromCamera = calib::worldFromCamera({30, 5, 2});
    plate.pupil_m = pupil_m;
    plate.distance = std::make_shared<const ComposeDistance>(distance);
    return plate;
}

}  // namespace

TEST_CASE("Two cameras that stand apart see a thing at the composed distance in one direction") {
    ComposeDistance distance;
    distance.inverse_m = 1 / 8.0;
    const auto left = plateAt({-0.2, 0.05, 0}, distance),
               right = plateAt({0.25, 0, 0.02}, distance);
    const calib::Vector3d direction = calib::worldFromCamera({34, 8, 0}).col(1);
    const calib::Vector3d point_m = 8 * direction;
    for (const auto& plate : {left, right}) {
        const calib::Vector3d ray =
            (plate.worldFromCamera.transpose() * (point_m - plate.pupil_m)).normalized();
        CHECK((plate.cameraFromDirection(direction).normalized() - ray).norm() < 1e-12);
        CHECK((plate.directionFromCamera(ray) - direction).norm() < 1e-12);
    }
}

TEST_CASE("Each seam has its own distance, and there is the way back everywhere between") {
    ComposeDistance distance;
    distance.at = {{calib::worldFromCamera({50, 0, 0}).col(1), 1 / 5.0},
                   {calib::worldFromCamera({14, 0, 0}).col(1), 0}};
    CHECK(distance.inverseAt_m(distance.at[0].direction) == Approx(0.2).epsilon(0.02));
    CHECK(distance.inverseAt_m(distance.at[1].direction) < 0.002);
    const auto plate = plateAt({0.3, -0.1, 0.1}, distance);
    for (double pan = 10; pan < 55; pan += 5) {
        const calib::Vector3d direction = calib::worldFromCamera({pan, 6, 0}).col(1);
        const auto back =
            plate.directionFromCamera(plate.cameraFromDirection(direction).normalized());
        CHECK((back - direction).norm() < 2e-5);
    }
}

TEST_CASE("A distance among the cameras, or nearer than a hand, is refused with the least one") {
    Take take;
    TakeSolve solve;
    for (const double x : {-0.5, 0.5}) {
        MountCamera camera;
        camera.placed = true;
        camera.pupil_m = Vector3d(x, 0, 0);
        solve.solved.mount.cameras.push_back(camera);
    }
    for (const char* nearer : {"1e-300", "0.01", "0.7"})
        CHECK_THROWS_WITH(setDistance({nearer}, take, solve),
                          Catch::Contains("--distance") && Catch::Contains("0.75 m or more"));
    setDistance({"0.8"}, take, solve);
    CHECK(solve.solved.distance->inverse_m == Approx(1.25));
}
