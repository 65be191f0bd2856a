#include "world/render.h"

#include <tbb/global_control.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "world/ray_lattice.h"
#include "world/shoot.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

constexpr auto kToFlat = calib::DistortionDirection::recorded_to_flat;
constexpr auto kToRecorded = calib::DistortionDirection::flat_to_recorded;

// The demo's pixels, but a small piece of the sensor: quick to render.
calib::LensMap smallLens(int width_px, int height_px) {
    const double mm = 36.0 / 2048;
    return {inventedLens(LensLook::barrel, kToFlat, 28, 5, 2.8),
            {width_px * mm, height_px * mm, width_px, height_px}};
}

// Pan and tilt that bring a direction to a plate position near the middle.
calib::PanTiltRoll poseToward(const Vector3d& d, double pan_off_deg, double tilt_off_deg) {
    const double deg = 180 / 3.14159265358979323846;
    return {std::atan2(-d.x(), d.y()) * deg + pan_off_deg,
            std::atan2(d.z(), std::hypot(d.x(), d.y())) * deg + tilt_off_deg, 0};
}

}  // namespace

TEST_CASE("A lamp has the same energy wherever it falls between the pixels") {
    constexpr double kTolerance = 0.004;  // of its energy
    const Scene scene({.seed = 3, .light = Light::night});
    const calib::LensMap lens = smallLens(100, 100);
    for (const size_t lamp : {size_t(0), size_t(4), scene.plan().lamps.size() - 5}) {
        const Vector3d direction = scene.plan().lamps[lamp].centre.normalized();
        double least = 1e30, most = 0;
        for (int step = 0; step < 6; ++step) {
            const double off_deg = step * 0.17 / lens.focal_px() * 57.3;
            const auto pose = poseToward(direction, off_deg, -0.6 * off_deg);
            const io::Picture plate = renderPlate(scene, lens, calib::worldFromCamera(pose),
                                                  Vector3d::Zero(), std::nullopt, {});
            double energy = 0;
            for (int y = 0; y < 100; ++y)
                for (int x = 0; x < 100; ++x)
                    energy += plate.at(x, y)[1] / lens.transmission({x + 0.5, y + 0.5});
            least = std::min(least, energy);
            most = std::max(most, energy);
        }
        CHECK(most > 5000);  // the lamp is in the picture
        CHECK(most / least - 1 < kTolerance);
    }
}

TEST_CASE(
    "A recorded pixel is the scene's light weighed by the spread, the shading, the exposure") {
    // The other way to the number: many random rays about the pixel's centre, no grid, no lattice.
    constexpr double kTolerance = 0.03;  // of the pixel; Monte Carlo's own error is below 0.01
    const Scene scene({.seed = 5, .light = Light::night});
    const calib::LensMap lens = smallLens(160, 96);
    const calib::Matrix3d worldFromCamera = calib::worldFromCamera({25, 4, 1.5});
    RenderSettings settings;
    settings.exposure = 1.7;
    const io::Picture plate =
        renderPlate(scene, lens, worldFromCamera, Vector3d::Zero(), 5.0, settings);
    const SceneView view = scene.seenFrom(Vector3d::Zero(), 5.0);
    std::mt19937 random(11);
    std::normal_distribution<double> spread(0, settings.blur_px);
    std::uniform_real_distribution<double> square(0, 1);
    for (int i = 0; i < 40; ++i) {
        const int x = 3 + (i * 37) % 154, y = 3 + (i * 23) % 90;
        Rgb sum(0, 0, 0);
        constexpr int kRays = 3000;
        for (int n = 0; n < kRays; ++n) {
            const Vector2d px(x + square(random) + spread(random),
                              y + square(random) + spread(random));
            sum += view.radiance(worldFromCamera * *lens.rayFromRecorded(px));
        }
        sum *= float(1.7 * lens.transmission({x + 0.5, y + 0.5}) / kRays);
        for (int c = 0; c < 3; ++c) CHECK(plate.at(x, y)[c] == Approx(sum[c]).epsilon(kTolerance));
    }
}

TEST_CASE("A plate and a panorama are the same for one thread and for many") {
    const Scene scene({.seed = 2, .light = Light::night});
    const calib::LensMap lens = smallLens(120, 70);
    RenderSettings settings;
    settings.noise = 0.01;
    const auto render = [&] {
        return renderPlate(scene, lens, calib::worldFromCamera({100, -10, 0}), Vector3d::Zero(),
                           3.0, settings);
    };
    const auto turn = [&] {
        return renderPanorama(scene, latlong(128, 64, calib::Matrix3d::Identity()), 128, 64,
                              Vector3d::Zero(), std::nullopt);
    };
    std::vector<float> plate, panorama;
    {
        const tbb::global_control one(tbb::global_control::max_allowed_parallelism, 1);
        plate = render().data;
        panorama = turn().data;
    }
    const tbb::global_control four(tbb::global_control::max_allowed_parallelism, 4);
    CHECK(plate == render().data);
    CHECK(panorama == turn().data);
}

TEST_CASE("A world of constant radiance is recorded as shading times exposure and nothing else") {
    const Scene scene({.seed = 1, .light = Light::constant, .constant = {0.5f, 0.25f, 2.0f}});
    const calib::LensMap lens = smallLens(64, 48);
    RenderSettings settings;
    settings.exposure = 0.8;
    const io::Picture plate = renderPlate(scene, lens, calib::worldFromCamera({1, 2, 3}),
                                          Vector3d::Zero(), 1.0, settings);
    for (int y = 0; y < 48; ++y)
        for (int x = 0; x < 64; ++x) {
            const double through = 0.8 * lens.transmission({x + 0.5, y + 0.5});
            CHECK(plate.at(x, y)[0] == Approx(0.5 * through).epsilon(1e-5));
            CHECK(plate.at(x, y)[2] == Approx(2.0 * through).epsilon(1e-5));
        }
}

TEST_CASE("Interpolated rays are those of the lens to a hundred-thousandth of a pixel") {
    constexpr double kTolerance_px = 1e-5;
    const calib::Sensor sensor{36, 20.25, 2048, 1152};
    for (const auto look : {LensLook::barrel, LensLook::pincushion, LensLook::mustache})
        for (const auto direction : {kToFlat, kToRecorded}) {
            const calib::LensMap lens(inventedLens(look, direction, 28, 3, 2.8), sensor);
            const auto exact = [&](double x, double y) {
                return lens.rayFromRecorded({x / 2, y / 2});
            };
            const RayLattice rays(exact, 4096, 2304);
            double worst = 0;
            for (int i = 0; i < 4000; ++i) {
                const double x = (i * 733) % 4096 + 0.31, y = (i * 389) % 2304 + 0.77;
                worst = std::max(worst, (*rays.at(x, y) - *exact(x, y)).norm() * lens.focal_px());
            }
            CHECK(worst < kTolerance_px);
        }
}

TEST_CASE("Noise is white, of the variance that the light calls for, and no bias") {
    const Scene scene({.seed = 1, .light = Light::constant});
    calib::Lens pinhole;
    pinhole.focal_mm = 28;
    const calib::LensMap lens(pinhole, {36, 20.25, 256, 144});
    RenderSettings settings;
    settings.noise = 0.02;
    const io::Picture plate = renderPlate(scene, lens, calib::Matrix3d::Identity(),
                                          Vector3d::Zero(), std::nullopt, settings);
    double sum = 0, squares = 0, beside = 0;
    const size_t count = plate.data.size();
    for (size_t i = 0; i < count; ++i) {
        const double off = plate.data[i] - 0.5;
        sum += off;
        squares += off * off;
        if (i + 3 < count) beside += off * (plate.data[i + 3] - 0.5);
    }
    const double sigma = 0.02 * std::sqrt(0.5 + 0.05 * 0.05);
    const double n = double(count);
    CHECK(std::abs(sum / n) < 4 * sigma / std::sqrt(n));
    CHECK(std::sqrt(squares / n) == Approx(sigma).epsilon(0.01));
    CHECK(std::abs(beside / squares) < 4 / std::sqrt(n));
}
