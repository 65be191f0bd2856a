#include "stitch/solve/level.h"

#include <Eigen/Geometry>
#include <catch2/catch.hpp>

#include "tests/unit/stitch/solve/turned_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

using Rotations = std::vector<std::optional<Matrix3d>>;

const Matrix3d kAskew =
    Eigen::AngleAxisd(2.1, Vector3d(0.3, -0.8, 0.5).normalized()).toRotationMatrix();

Rotations askew(const std::vector<calib::PanTiltRoll>& poses) {
    Rotations out;
    for (const auto& pose : poses) out.emplace_back(kAskew * calib::worldFromCamera(pose));
    return out;
}

Rotations levelled(const Rotations& rotations, const Rotations& poses, Level level,
                   std::optional<int> north = std::nullopt) {
    const Matrix3d turn = levelRotation(rotations, poses, level, north);
    Rotations out = rotations;
    for (auto& r : out)
        if (r) *r = turn * *r;
    return out;
}

}  // namespace

TEST_CASE("A full turn of level plates becomes level, the first of them at pan 0") {
    std::vector<calib::PanTiltRoll> poses;
    for (int i = 0; i < 8; ++i) poses.push_back({45.0 * i + 20, 15, 0});
    const auto out = levelled(askew(poses), {}, Level::horizon);
    for (int i = 0; i < 8; ++i) {
        const auto pose = calib::panTiltRoll(*out[i]);
        CHECK(std::remainder(pose.pan_deg - 45.0 * i, 360) == Approx(0).margin(1e-6));
        CHECK(pose.tilt_deg == Approx(15).margin(1e-6));
        CHECK(pose.roll_deg == Approx(0).margin(1e-6));
    }
}

TEST_CASE("One plate, one column and plates that all look one way stay upright") {
    const auto tilts = GENERATE(std::vector<double>{35}, std::vector<double>{-40, 0, 40},
                                std::vector<double>{10, 10, 10}, std::vector<double>{5, 45, 85});
    std::vector<calib::PanTiltRoll> poses;
    for (const double tilt : tilts) poses.push_back({100, tilt, 0});
    const auto out = levelled(askew(poses), {}, Level::automatic);
    for (const auto& r : out) {
        CHECK((*r)(2, 2) >= 0);                                   // not upside down
        CHECK(std::abs(calib::panTiltRoll(*r).roll_deg) < 1e-6);  // and level
    }
    CHECK(calib::panTiltRoll(*out[0]).pan_deg == Approx(0).margin(1e-6));
}

TEST_CASE("A narrow arc of plates held level to half a degree comes out level to a few") {
    std::vector<calib::PanTiltRoll> poses{{-20, 8, 0.4}, {0, 6, -0.5}, {20, 9, 0.3}};
    for (const auto& r : levelled(askew(poses), {}, Level::horizon))
        CHECK(std::abs(calib::panTiltRoll(*r).roll_deg) < 1.0);
}

TEST_CASE(
    "Plates that leave a gap have their middle at pan 0, and the gap at the panorama's edge") {
    const auto out =
        levelled(askew({{120, 5, 0}, {160, 0, 0}, {200, 0, 0}, {240, 5, 0}}), {}, Level::horizon);
    CHECK(calib::panTiltRoll(*out[0]).pan_deg == Approx(-60).margin(0.01));
    CHECK(calib::panTiltRoll(*out[3]).pan_deg == Approx(60).margin(0.01));
}

TEST_CASE("The plate that is named north looks to pan 0") {
    const auto out = levelled(askew({{10, 0, 0}, {50, 0, 0}, {90, 20, 0}}), {}, Level::horizon, 2);
    CHECK(calib::panTiltRoll(*out[2]).pan_deg == Approx(0).margin(1e-6));
    CHECK(calib::panTiltRoll(*out[0]).pan_deg == Approx(-80).margin(1e-4));
}

TEST_CASE("Poses orient the whole although one of them is far off") {
    const std::vector<calib::PanTiltRoll> truth{{10, 0, 1}, {50, 5, 2}, {90, 20, 3}, {140, 0, 0}};
    Rotations poses;
    for (const auto& pose : truth) poses.emplace_back(calib::worldFromCamera(pose));
    poses[2] = calib::worldFromCamera({-170, -60, 90});
    poses.emplace_back(std::nullopt);
    auto solved = askew(truth);
    solved.emplace_back(std::nullopt);
    const auto out = levelled(solved, poses, Level::automatic);
    for (const size_t i : {0u, 1u, 3u}) CHECK(calib::angleBetween_deg(*out[i], *poses[i]) < 0.1);
}

TEST_CASE("Without levelling the first placed plate is as it was held") {
    Rotations solved = askew({{10, 30, 5}, {50, 5, 2}});
    solved.insert(solved.begin(), std::nullopt);
    const auto out = levelled(solved, {}, Level::none);
    CHECK((*out[1] - Matrix3d::Identity()).norm() < 1e-12);
    CHECK(levelRotation({std::nullopt}, {}, Level::automatic, 0) == Matrix3d::Identity());
}
