// The tracker on painted frames, whose every turn is known: long pans, hidden frames, jolts.
#include <catch2/catch.hpp>
#include <cmath>

#include "calib/angle.h"
#include "calib/rotation_vector.h"
#include "stitch/mount/shake.h"
#include "tests/painted_plates.h"
#include "world/noise.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

// A wall all round, its detail some five pixels and more wide.
double wall(const Vector3d& direction) {
    const double pan = std::atan2(-direction.x(), direction.y()), tilt = std::asin(direction.z());
    return 0.3 * std::exp(0.8 * world::octaves(float(20 * pan), float(20 * tilt), 2, 0.7f, 3));
}

ShakeView viewOf(int clip, const Matrix3d& mountFromCamera, const Matrix3d& worldFromMount,
                 uint32_t frame, bool black = false) {
    PlacedPlate plate;
    plate.lens = calib::LensMap(painted::bendingLens(), painted::kSensor);
    plate.worldFromCamera = worldFromMount * mountFromCamera;
    auto pixels = painted::paint(plate, wall, black ? 0 : 1, false);
    constexpr double kNoise = 0.003;
    for (size_t i = 0; i < pixels.full.size(); ++i)
        if (i % 4 < 3)
            pixels.full[i] += float(
                kNoise * (world::unit(world::hash(uint32_t(i), frame, 5u + uint32_t(clip))) - 0.5));
    return {clip, plate.lens, mountFromCamera,
            std::make_shared<const LightPicture>(lightPicture(pixels, plate.lens))};
}

double focal_px() {
    return calib::LensMap(painted::bendingLens(), painted::kSensor).focal_px();
}

double off_px(const Matrix3d& a, const Matrix3d& b) {
    return calib::angleBetween_deg(a, b) * calib::kRadPerDeg * focal_px();
}

// Sways of a pixel or two on whatever path a mount takes.
Matrix3d swaying(const calib::PanTiltRoll& path, int frame) {
    return calib::worldFromCamera({path.pan_deg + 0.3 * std::sin(1.1 * frame),
                                   path.tilt_deg + 0.25 * std::sin(0.8 * frame + 1),
                                   path.roll_deg + 0.1 * std::sin(0.6 * frame)});
}

}  // namespace

TEST_CASE("A mount that pans far out of its first frame's sight is told without drift") {
    // 60 degrees in all, of a frame 74 degrees wide, and back again.
    constexpr int kFrames = 41;
    const Matrix3d camera = calib::worldFromCamera({20, 3, 1});
    ShakeTracker tracker(1, false);
    const auto truth = [](int i) { return swaying({3.0 * std::min(i, kFrames - 1 - i), 4, 0}, i); };
    double farthest_px = 0, home_px = 0;
    for (int i = 0; i < kFrames; ++i) {
        const auto told = tracker.add(1001 + i, {viewOf(0, camera, truth(i), uint32_t(i))});
        REQUIRE(told.known);
        const double off = off_px(told.firstFromMount, truth(0).transpose() * truth(i));
        farthest_px = std::max(farthest_px, off);
        if (i == kFrames - 1) home_px = off;
    }
    INFO("off by " << farthest_px << " px at most, " << home_px << " px back at the start");
    CHECK(farthest_px < 0.1);
    CHECK(home_px < 0.1);
}

TEST_CASE("A take of its own that drifts out of its first frame's sight is told without drift") {
    constexpr int kFrames = 31;
    const Matrix3d camera = calib::worldFromCamera({-70, 8, 0});
    ShakeTracker tracker(1, true);
    double farthest_px = 0;
    for (int i = 0; i < kFrames; ++i) {
        const Matrix3d turn = swaying({2.0 * i, 0.3 * i, 0}, i);
        const auto told = tracker.add(1001 + i, {viewOf(0, camera, turn, uint32_t(i))});
        REQUIRE(told.apart_corners[0] > 0);
        const Matrix3d start = swaying({0, 0, 0}, 0) * camera;
        farthest_px = std::max(farthest_px, off_px(calib::rotationOf(told.apart_rad[0]),
                                                   start.transpose() * turn * camera));
    }
    INFO("off by " << farthest_px << " px at most");
    CHECK(farthest_px < 0.1);
}

TEST_CASE("A jolt farther than a frame's search is found, and black frames are passed over") {
    const Matrix3d camera = Matrix3d::Identity();
    ShakeTracker tracker(1, true);
    const auto turnAt = [](int i) { return swaying({i < 6 ? 0.0 : 7.0, 0, 0}, i); };
    // The first frame is black: nothing can be told against it, and that is found out.
    const auto isBlack = [](int i) { return i == 0 || i == 3 || i == 4; };
    for (int i = 0; i < 10; ++i) {
        const auto told =
            tracker.add(1001 + i, {viewOf(0, camera, turnAt(i), uint32_t(i), isBlack(i))});
        INFO("frame " << i);
        if (i < 1) continue;
        CHECK((told.apart_corners[0] > 0) == !isBlack(i));
        if (isBlack(i)) continue;
        CHECK(off_px(calib::rotationOf(told.apart_rad[0]), turnAt(1).transpose() * turnAt(i)) <
              0.1);
    }
}

TEST_CASE("What a turn's corners leave open is what it is off by") {
    double squares = 0, said = 0;
    constexpr int kFrames = 16;
    ShakeTracker tracker(1, true);
    for (int i = 0; i < kFrames; ++i) {
        const Matrix3d turn = swaying({0, 0, 0}, i);
        const auto told =
            tracker.add(1001 + i, {viewOf(0, Matrix3d::Identity(), turn, uint32_t(i))});
        if (i == 0) continue;
        squares += std::pow(
            off_px(calib::rotationOf(told.apart_rad[0]), swaying({0, 0, 0}, 0).transpose() * turn),
            2);
        said += std::pow(told.apart_sigma_rad[0] * focal_px(), 2);
    }
    INFO("off by " << std::sqrt(squares / (kFrames - 1)) << " px, said "
                   << std::sqrt(said / (kFrames - 1)));
    CHECK(std::sqrt(squares / said) < 2.5);
    CHECK(std::sqrt(squares / said) > 0.2);
}
