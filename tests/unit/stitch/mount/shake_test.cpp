#include "stitch/mount/shake.h"

#include <Eigen/Geometry>
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "calib/angle.h"
#include "calib/pose.h"
#include "stitch/mount/knocks.h"
#include "stitch/mount/steady.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

constexpr double kPxPerRad = 1600;

double off_px(const Matrix3d& a, const Matrix3d& b) {
    return calib::angleBetween_deg(a, b) * calib::kRadPerDeg * kPxPerRad;
}

// A mount that pans steadily and shakes.
std::vector<ShakeFrame> shaken(int frames, double pan_per_frame_deg, double shake_deg,
                               uint32_t seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(0, shake_deg);
    std::vector<ShakeFrame> out;
    for (int i = 0; i < frames; ++i) {
        ShakeFrame frame;
        frame.frame = 1001 + i;
        frame.known = true;
        frame.firstFromMount = calib::worldFromCamera(
            {pan_per_frame_deg * i + normal(random), normal(random), normal(random)});
        frame.apart_rad.assign(2, Vector3d::Zero());
        frame.apart_corners.assign(2, 50);
        frame.apart_sigma_rad.assign(2, 0);
        out.push_back(frame);
    }
    return out;
}

// Shake left in what a frame shows once the turn that was taken out is put before it.
double left_px(const std::vector<ShakeFrame>& shake, const std::vector<Matrix3d>& out) {
    double sum = 0;
    for (size_t i = 1; i < shake.size(); ++i) {
        const Matrix3d here = shake[i].firstFromMount * out[i].transpose();
        const Matrix3d before = shake[i - 1].firstFromMount * out[i - 1].transpose();
        sum += std::pow(off_px(here, before), 2);
    }
    return std::sqrt(sum / double(shake.size() - 1));
}

}  // namespace

TEST_CASE(
    "The turn between two sets of directions is found among a third that move by themselves") {
    std::mt19937 random(1);
    std::normal_distribution<double> normal(0, 0.05 / kPxPerRad);
    std::uniform_real_distribution<double> uniform(-0.5, 0.5);
    const Matrix3d truth = calib::worldFromCamera({0.31, -0.22, 0.4});
    std::vector<DirectionPair> pairs;
    for (int i = 0; i < 150; ++i) {
        DirectionPair pair;
        pair.after = Vector3d(uniform(random), 1, 0.6 * uniform(random)).normalized();
        pair.before =
            (truth * pair.after + Vector3d(normal(random), 0, normal(random))).normalized();
        if (i % 3 == 0) pair.before = (pair.before + Vector3d(6 / kPxPerRad, 0, 0)).normalized();
        pair.px_per_rad = kPxPerRad;
        pair.sigma_px = 0.05;
        pairs.push_back(pair);
    }
    const auto found = turnBetween(pairs);
    CHECK(off_px(found.beforeFromAfter, truth) < 0.05);
    CHECK(found.agreeing == Approx(100).margin(5));
    CHECK(turnBetween({pairs[0], pairs[1]}).agreeing == 0);
}

TEST_CASE("Locked, nothing of the shake is left and its mean is no turn") {
    const auto shake = shaken(48, 0, 0.1, 2);
    const auto out = takenOut(shake, Steady::lock);
    CHECK(left_px(shake, out) < 1e-6);
    Matrix3d sum = Matrix3d::Zero();
    for (const auto& turn : out) sum += turn;
    CHECK(off_px(calib::nearestRotation(sum), Matrix3d::Identity()) < 1e-6);
    for (const auto& turn : takenOut(shake, Steady::none)) CHECK(turn == Matrix3d::Identity());
}

TEST_CASE("Following, a steady pan passes and the shake on it goes") {
    const auto still = shaken(60, 0.05, 0, 3), shake = shaken(60, 0.05, 0.1, 3);
    // A pan without shake is a smooth path already: nothing is taken out, to its very ends.
    for (const auto& turn : takenOut(still, Steady::follow))
        CHECK(off_px(turn, Matrix3d::Identity()) < 0.01);
    const auto out = takenOut(shake, Steady::follow);
    const double pan_px = 0.05 * calib::kRadPerDeg * kPxPerRad;
    CHECK(left_px(shake, out) < 1.25 * pan_px);
    CHECK(left_px(shake, takenOut(shake, Steady::none)) > 3 * pan_px);
}

TEST_CASE("A frame whose shake is not known stands between its neighbours") {
    auto shake = shaken(9, 0.2, 0, 4);
    shake[4].known = false;
    shake[4].firstFromMount = Matrix3d::Identity();
    const auto out = takenOut(shake, Steady::lock);
    const Matrix3d truth = out[0] * calib::worldFromCamera({0.8, 0, 0});
    CHECK(off_px(out[4], truth) < 0.01);
}

TEST_CASE("A knock is found where it was, and by how much") {
    auto shake = shaken(48, 0, 0.1, 5);
    std::mt19937 random(6);
    std::normal_distribution<double> noise(0, 0.03 / kPxPerRad);
    const Vector3d knock_rad(0.002, -0.001, 0.0015);
    for (auto& frame : shake)
        for (size_t clip = 0; clip < 2; ++clip) {
            frame.apart_rad[clip] = Vector3d(noise(random), noise(random), noise(random));
            if (clip == 1 && frame.frame >= 1023) frame.apart_rad[clip] += knock_rad;
        }
    const auto knocks = findKnocks(shake, {kPxPerRad, kPxPerRad});
    REQUIRE(knocks.size() == 1);
    CHECK(knocks[0].clip == 1);
    CHECK(knocks[0].frame == 1023);
    const Matrix3d truth =
        Eigen::AngleAxisd(knock_rad.norm(), knock_rad.normalized()).toRotationMatrix();
    CHECK(off_px(knocks[0].beforeFromAfter, truth) < 0.1);
}

TEST_CASE("A camera that only trembles, or comes back at once, was not knocked") {
    auto shake = shaken(48, 0, 0.1, 7);
    std::mt19937 random(8);
    std::normal_distribution<double> noise(0, 0.1 / kPxPerRad);
    for (auto& frame : shake)
        for (auto& apart : frame.apart_rad)
            apart = Vector3d(noise(random), noise(random), noise(random));
    shake[20].apart_rad[0] += Vector3d(0.003, 0, 0);
    CHECK(findKnocks(shake, {kPxPerRad, kPxPerRad}).empty());
}
