#include "stitch/mount/own_turns.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "calib/angle.h"
#include "calib/pose.h"
#include "calib/rotation_vector.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

constexpr double kPxPerRad = 1600;
constexpr double kNoise_rad = 0.01 / kPxPerRad;

double off_px(const Matrix3d& a, const Matrix3d& b) {
    return calib::angleBetween_deg(a, b) * calib::kRadPerDeg * kPxPerRad;
}

// A head that sways at 0.9 and 2.4 Hz at 24 frames a second, `reach_px` at most either way.
Vector3d sway_rad(int i, double reach_px) {
    const double t = i / 24.0, reach = reach_px / kPxPerRad;
    return reach * Vector3d(0.7 * std::sin(5.6 * t + 1) + 0.3 * std::sin(15.1 * t),
                            0.7 * std::sin(5.2 * t) + 0.3 * std::sin(14.3 * t + 2),
                            0.3 * std::sin(6.1 * t + 0.4));
}

// Two clips: the first sways, the second stands still, both seen with noise.
std::vector<ShakeFrame> filmed(int frames, double reach_px) {
    std::mt19937 random(11);
    std::normal_distribution<double> noise(0, kNoise_rad / std::sqrt(3.0));
    std::vector<ShakeFrame> out;
    for (int i = 0; i < frames; ++i) {
        ShakeFrame frame;
        frame.frame = 1001 + i;
        frame.known = true;
        frame.apart_corners.assign(2, 60);
        frame.apart_sigma_rad.assign(2, kNoise_rad);
        for (int clip = 0; clip < 2; ++clip) {
            frame.apart_rad.emplace_back(noise(random), noise(random), noise(random));
            if (clip == 0) frame.apart_rad.back() += sway_rad(i, reach_px) - sway_rad(0, reach_px);
        }
        out.push_back(frame);
    }
    return out;
}

}  // namespace

TEST_CASE("A camera's own turns are told against the middle of its wobble") {
    const auto own = ownTurns(filmed(48, 4), {kPxPerRad, kPxPerRad}, {}, 0);
    REQUIRE(own.size() == 2);
    REQUIRE(own[0].meanFromCamera.size() == 48);
    Matrix3d sum = Matrix3d::Zero();
    for (const auto& turn : own[0].meanFromCamera) sum += turn;
    CHECK(off_px(calib::nearestRotation(sum), Matrix3d::Identity()) < 1e-6);
    // Sines of 0.7 and 0.3 about two axes and of 0.3 about the third.
    CHECK(own[0].rms_px == Approx(4 * std::sqrt(0.58 + 0.045)).margin(0.3));
    // Back at the frame that turns are told from, the clip stood as the sway had it then.
    const Matrix3d first = own[0].parts.front().startFromMean * own[0].meanFromCamera.front();
    CHECK(off_px(first, Matrix3d::Identity()) < 0.05);
    const Matrix3d tenth = own[0].parts.front().startFromMean * own[0].at(1011, 1001);
    CHECK(off_px(tenth, calib::rotationOf(sway_rad(10, 4) - sway_rad(0, 4))) < 0.05);
}

TEST_CASE("A camera that stood still but for what its corners leave open has no turns") {
    const auto own = ownTurns(filmed(48, 4), {kPxPerRad, kPxPerRad}, {}, 0);
    CHECK(own[1].meanFromCamera.empty());
    CHECK(own[1].at(1020, 1001) == Matrix3d::Identity());
    // A tenth of a pixel stands out of a hundredth; asked for more it is left alone.
    const auto little = filmed(48, 0.2);
    CHECK_FALSE(ownTurns(little, {kPxPerRad, kPxPerRad}, {}, 0)[0].meanFromCamera.empty());
    CHECK(ownTurns(little, {kPxPerRad, kPxPerRad}, {}, 0.3)[0].meanFromCamera.empty());
}

TEST_CASE("Frames at which a camera's turn is not known stand between their neighbours") {
    auto shake = filmed(48, 4);
    for (int i = 20; i < 23; ++i) {
        shake[size_t(i)].apart_corners[0] = 0;
        shake[size_t(i)].apart_rad[0] = Vector3d::Zero();
    }
    const auto own = ownTurns(shake, {kPxPerRad, kPxPerRad}, {}, 0)[0];
    CHECK(own.unknown == 3);
    const Matrix3d middle = own.parts.front().startFromMean * own.at(1022, 1001);
    const Vector3d expected = 0.5 * (sway_rad(19, 4) + sway_rad(23, 4)) - sway_rad(0, 4);
    CHECK(off_px(middle, calib::rotationOf(expected)) < 0.05);
}

TEST_CASE("A camera solved in parts has a mean for each") {
    auto shake = filmed(48, 4);
    const Vector3d knock_rad(0.004, -0.003, 0.001);
    for (auto& frame : shake)
        if (frame.frame >= 1025)
            frame.apart_rad[0] = calib::rotationVector(calib::rotationOf(knock_rad) *
                                                       calib::rotationOf(frame.apart_rad[0]));
    const auto own =
        ownTurns(shake, {kPxPerRad, kPxPerRad}, {{0, 1025, calib::rotationOf(knock_rad)}}, 0)[0];
    REQUIRE(own.parts.size() == 2);
    CHECK(own.parts[1].from_frame == 1025);
    CHECK(own.rms_px < 3.6);
    for (const int frame : {1001, 1024, 1025, 1048}) {
        const Matrix3d start = own.partAt(frame).startFromMean * own.at(frame, 1001);
        CHECK(off_px(start, calib::rotationOf(shake[size_t(frame - 1001)].apart_rad[0])) < 1e-6);
    }
    const auto whole = ownTurns(shake, {kPxPerRad, kPxPerRad}, {}, 0)[0];
    CHECK(whole.rms_px > 1.3 * own.rms_px);
    CHECK(turnsOfKnocks(2, 1001, {{0, 1025, calib::rotationOf(knock_rad)}})[0].parts.size() == 2);
}

TEST_CASE("A head that sways was not knocked; one that is knocked while it sways was") {
    for (const double reach_px : {0.5, 2.0, 8.0}) {
        auto shake = filmed(72, reach_px);
        CHECK(findKnocks(shake, {kPxPerRad, kPxPerRad}).empty());
        const Vector3d knock_rad = Vector3d(-0.7, 0.6, 0.2) * 2 * reach_px / kPxPerRad;
        for (auto& frame : shake)
            if (frame.frame >= 1040) frame.apart_rad[0] += knock_rad;
        const auto knocks = findKnocks(shake, {kPxPerRad, kPxPerRad});
        REQUIRE(knocks.size() == 1);
        CHECK(knocks[0].clip == 0);
        CHECK(knocks[0].frame == 1040);
    }
}
