#include "calib/pose.h"

#include <Eigen/Geometry>
#include <Eigen/LU>
#include <catch2/catch.hpp>
#include <random>

using namespace plateloom::calib;

namespace {
constexpr double kDeg = 1e-12;  // degrees
}

TEST_CASE("Pan is positive to the left, tilt up, roll clockwise seen from behind") {
    const Vector3d forward(0, 1, 0), right(1, 0, 0);
    CHECK((worldFromCamera({90, 0, 0}) * forward - Vector3d(-1, 0, 0)).norm() < 1e-15);
    CHECK((worldFromCamera({0, 90, 0}) * forward - Vector3d(0, 0, 1)).norm() < 1e-15);
    CHECK((worldFromCamera({0, 0, 90}) * right - Vector3d(0, 0, -1)).norm() < 1e-15);
    // Intrinsic: tilt about the panned camera's own axis.
    CHECK((worldFromCamera({90, 45, 0}) * forward - Vector3d(-1, 0, 1).normalized()).norm() <
          1e-15);
}

TEST_CASE("Angles come back from their rotation, in every quadrant") {
    for (int pan = -179; pan <= 180; pan += 13)
        for (int tilt = -89; tilt <= 89; tilt += 11)
            for (int roll = -180 + 7; roll <= 180; roll += 17) {
                const PanTiltRoll pose{double(pan), double(tilt), double(roll)};
                const PanTiltRoll back = panTiltRoll(worldFromCamera(pose));
                REQUIRE(back.pan_deg == Approx(pan).margin(1e-10));
                REQUIRE(back.tilt_deg == Approx(tilt).margin(1e-10));
                REQUIRE(back.roll_deg == Approx(roll).margin(1e-10));
            }
}

TEST_CASE("A half turn is +180, never -180") {
    CHECK(panTiltRoll(Eigen::Vector3d(-1, -1, 1).asDiagonal()).pan_deg == 180);
    CHECK(panTiltRoll(Eigen::Vector3d(-1, 1, -1).asDiagonal()).roll_deg == 180);
    Matrix3d m = Eigen::Vector3d(-1, -1, 1).asDiagonal();
    m(0, 1) = 0.0;  // -m(0, 1) is a negative zero
    CHECK(panTiltRoll(m).pan_deg == 180);
}

TEST_CASE("Looking straight up or down the rotation is kept, with roll 0") {
    for (const double tilt : {-90.0, 90.0}) {
        const Matrix3d m = worldFromCamera({30, tilt, 20});
        const PanTiltRoll pose = panTiltRoll(m);
        CHECK(pose.roll_deg == 0);
        CHECK(angleBetween_deg(worldFromCamera(pose), m) < 1e-6);
    }
}

TEST_CASE("The angle between rotations is right for tiny and for large ones") {
    const Matrix3d a = worldFromCamera({40, 20, -10});
    for (const double angle : {1e-9, 1e-4, 1.0, 90.0, 179.0})
        CHECK(angleBetween_deg(a, a * worldFromCamera({0, angle, 0})) ==
              Approx(angle).epsilon(1e-6));
    CHECK(angleBetween_deg(a, a) < kDeg);
}

TEST_CASE("One alignment brings a turned set of cameras back, and a mirror is no rotation") {
    std::mt19937 random(5);
    std::uniform_real_distribution<double> angle(-180, 180);
    const Matrix3d turn = worldFromCamera({12, -34, 56});
    std::vector<Matrix3d> from, to;
    for (int i = 0; i < 9; ++i) {
        from.push_back(worldFromCamera({angle(random), angle(random) / 2, angle(random)}));
        to.push_back(turn * from.back());
    }
    CHECK(angleBetween_deg(alignOrientations(from, to), turn) < 1e-6);
    const Matrix3d mirror = Eigen::Vector3d(1, 1, -1).asDiagonal();
    CHECK(nearestRotation(mirror).determinant() == Approx(1));
}

TEST_CASE("The shortest turn brings one direction onto another, opposite ones too") {
    std::mt19937 random(7);
    std::normal_distribution<double> spread;
    for (const double apart_rad : {0.0, 1e-9, 1e-3, 1.0, 3.0, M_PI - 1e-5, M_PI - 1e-7, M_PI}) {
        for (int i = 0; i < 20; ++i) {
            const Vector3d from = 3 * Vector3d(spread(random), spread(random), spread(random));
            const Vector3d side =
                from.cross(Vector3d(spread(random), spread(random), spread(random))).normalized();
            const Vector3d to = 5 * (Eigen::AngleAxisd(apart_rad, side) * from);
            const Matrix3d turn = shortestTurn(from, to);
            INFO(apart_rad);
            CHECK((turn * turn.transpose() - Matrix3d::Identity()).norm() < 1e-12);
            CHECK(turn.determinant() > 0);
            CHECK((turn * from.normalized() - to.normalized()).norm() < 2e-6);
            CHECK(angleBetween_deg(Matrix3d::Identity(), turn) ==
                  Approx(apart_rad * 180 / M_PI).margin(1e-4));
            if (apart_rad > M_PI - 1e-6) continue;  // where any axis does
            CHECK((turn * from.normalized() - to.normalized()).norm() < 1e-9);
            CHECK((turn - Eigen::AngleAxisd(apart_rad, side).toRotationMatrix()).norm() < 1e-9);
        }
    }
}
