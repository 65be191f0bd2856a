#include "stitch/mount/mount_bundle.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "calib/angle.h"
#include "calib/pose.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

constexpr double kPxPerRad = 1600;

struct Array {
    std::vector<Matrix3d> mountFromCamera;
    std::vector<Vector3d> pupil_m;
};

// Cameras side by side, 36 degrees apart, on an arc.
Array arrayOf(int cameras, double radius_m) {
    Array out;
    for (int i = 0; i < cameras; ++i) {
        const double pan_deg = 36.0 * (0.5 * (cameras - 1) - i);
        out.mountFromCamera.push_back(
            calib::worldFromCamera({pan_deg, 2.0 * (i % 2) - 1, 0.7 * i}));
        out.pupil_m.push_back(radius_m * calib::worldFromCamera({pan_deg, 0, 0}).col(1));
    }
    return out;
}

// Things between two neighbours, near and far, as both see them with `noise_px`.
std::vector<MountTie> tiesOf(const Array& array, int each, double noise_px, std::mt19937& random,
                             double nearest_m, double farthest_m) {
    std::normal_distribution<double> normal(0, noise_px / kPxPerRad);
    std::uniform_real_distribution<double> uniform(0, 1);
    const auto seen = [&](int camera, const Vector3d& point_m) -> Vector3d {
        const Vector3d ray = array.mountFromCamera[size_t(camera)].transpose() *
                             (point_m - array.pupil_m[size_t(camera)]).normalized();
        const Vector3d across = ray.unitOrthogonal(), up = ray.cross(across);
        return (ray + normal(random) * across + normal(random) * up).normalized();
    };
    std::vector<MountTie> ties;
    for (int a = 0; a + 1 < int(array.mountFromCamera.size()); ++a)
        for (int i = 0; i < each; ++i) {
            const double middle_deg =
                0.5 * (calib::panTiltRoll(array.mountFromCamera[size_t(a)]).pan_deg +
                       calib::panTiltRoll(array.mountFromCamera[size_t(a) + 1]).pan_deg);
            const double pan_deg = middle_deg + 16 * (uniform(random) - 0.5);
            const double tilt_deg = 38 * (uniform(random) - 0.5);
            const double inverse =
                1 / farthest_m + uniform(random) * (1 / nearest_m - 1 / farthest_m);
            const Vector3d point_m =
                calib::worldFromCamera({pan_deg, tilt_deg, 0}).col(1) / inverse;
            ties.push_back({{a, seen(a, point_m), kPxPerRad},
                            {a + 1, seen(a + 1, point_m), kPxPerRad},
                            std::max(noise_px, 0.02),
                            i % 5});
        }
    return ties;
}

std::vector<MountBody> startOf(const Array& array, bool places, double off_deg,
                               std::mt19937& random) {
    std::normal_distribution<double> normal(0, off_deg * calib::kRadPerDeg);
    std::vector<MountBody> bodies;
    for (size_t i = 0; i < array.mountFromCamera.size(); ++i) {
        const Vector3d w(normal(random), normal(random), normal(random));
        MountBody body;
        body.mountFromCamera = Eigen::AngleAxisd(w.norm(), w.normalized()).toRotationMatrix() *
                               array.mountFromCamera[i];
        if (places) body.pupil_m = array.pupil_m[i];
        bodies.push_back(body);
    }
    return bodies;
}

// RMS over the cameras after one turn of the whole.
double error_px(const MountBundle& found, const Array& truth) {
    std::vector<Matrix3d> from;
    for (size_t i = 0; i < truth.mountFromCamera.size(); ++i)
        from.push_back(*found.mountFromCamera[i]);
    const Matrix3d turn = calib::alignOrientations(from, truth.mountFromCamera);
    double sum = 0;
    for (size_t i = 0; i < from.size(); ++i) {
        const double off = calib::angleBetween_deg(turn * from[i], truth.mountFromCamera[i]) *
                           calib::kRadPerDeg * kPxPerRad;
        sum += off * off;
    }
    return std::sqrt(sum / double(from.size()));
}

}  // namespace

TEST_CASE("A mount with one entrance pupil is solved from the ties of many moments") {
    std::mt19937 random(1);
    const Array array = arrayOf(5, 0);
    auto ties = tiesOf(array, 400, 0.08, random, 4, 1e6);
    // One in ten is another thing altogether.
    for (size_t t = 0; t < ties.size(); t += 10)
        ties[t].b.ray = (ties[t].b.ray + 0.01 * ties[t].b.ray.unitOrthogonal()).normalized();
    const auto found = adjustMount(startOf(array, false, 0.2, random), ties);
    REQUIRE(found.usable);
    // Roll hangs on ties near the frame's edge, and the largest part of it is that.
    CHECK(error_px(found, array) < 0.08);
    CHECK(found.rms_px == Approx(2 * 0.08).epsilon(0.1));  // two ends, two axes
    for (size_t t = 0; t < ties.size(); t += 10) CHECK_FALSE(found.inlier[t]);
}

TEST_CASE(
    "Cameras that stand apart are solved through parallax of a dozen pixels, with each tie's "
    "distance") {
    std::mt19937 random(2);
    const Array array = arrayOf(5, 0.15);
    const auto ties = tiesOf(array, 1200, 0.06, random, 6, 80);
    const auto found = adjustMount(startOf(array, true, 0.1, random), ties);
    REQUIRE(found.usable);
    const auto blind = adjustMount(startOf(array, false, 0.1, random), ties);
    INFO("with places " << error_px(found, array) << " px, without " << error_px(blind, array));
    CHECK(error_px(blind, array) > 20 * error_px(found, array));
    // What the uncertainty claims is what happened, within a factor.
    const double claimed_px = found.sigma_deg[0] * calib::kRadPerDeg * kPxPerRad;
    INFO("claimed " << claimed_px);
    CHECK(claimed_px > 0.3 * error_px(found, array));
    CHECK(claimed_px < 1);
    double off = 0;
    for (size_t t = 0; t < ties.size(); ++t) {
        REQUIRE(found.inverse_m[t].has_value());
        off = std::max(off, -*found.inverse_m[t]);
    }
    CHECK(off < 0.01);
}

TEST_CASE("A camera without a start stays out, and its ties with it") {
    std::mt19937 random(3);
    const Array array = arrayOf(4, 0);
    auto bodies = startOf(array, false, 0.1, random);
    bodies[3].mountFromCamera.reset();
    const auto ties = tiesOf(array, 60, 0.05, random, 4, 100);
    const auto found = adjustMount(bodies, ties);
    REQUIRE(found.usable);
    CHECK_FALSE(found.mountFromCamera[3].has_value());
    CHECK(std::isinf(found.sigma_deg[3]));
    for (size_t t = 0; t < ties.size(); ++t) CHECK((ties[t].b.body == 3) != bool(found.inlier[t]));
}

TEST_CASE("Without a tie nothing is solved") {
    std::mt19937 random(4);
    const Array array = arrayOf(2, 0);
    CHECK_FALSE(adjustMount(startOf(array, false, 0.1, random), {}).usable);
}
