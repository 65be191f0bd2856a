#include "world/scene.h"

#include <catch2/catch.hpp>
#include <cmath>

using namespace plateloom::world;

namespace {

Vector3d direction(double pan, double tilt) {
    return {-std::sin(pan) * std::cos(tilt), std::cos(pan) * std::cos(tilt), std::sin(tilt)};
}

// Share of level-ish directions in which two views differ.
double differing(const SceneView& a, const SceneView& b) {
    int differ = 0, all = 0;
    for (double pan = 0; pan < 6.28; pan += 0.01)
        for (double tilt = -0.3; tilt < 0.3; tilt += 0.02, ++all)
            differ += (a.radiance(direction(pan, tilt)) - b.radiance(direction(pan, tilt)))
                          .abs()
                          .maxCoeff() > 1e-6f;
    return double(differ) / all;
}

}  // namespace

TEST_CASE("The tram and the people stand elsewhere at another time, and all else stays") {
    const Scene scene({.seed = 1, .light = Light::night});
    const auto at = [&](std::optional<double> time_s) {
        return scene.seenFrom(Vector3d::Zero(), time_s);
    };
    CHECK(differing(at(4.0), at(4.0)) == 0);
    CHECK(differing(at(4.0), at(19.0)) > 0.005);
    CHECK(differing(at(4.0), at(19.0)) < 0.2);
    CHECK(differing(at(4.0), at(std::nullopt)) > 0.005);
}

TEST_CASE("Every house has the same window, and no two places on walls are alike") {
    House a, b;
    a.to_m = b.to_m = 9.6;
    a.floors = b.floors = 4;
    a.seed = 17;
    b.seed = 23456;
    a.eaves_m = b.eaves_m = 17.6;
    b.albedo = {0.3f, 0.4f, 0.5f};
    // Glass, bars and frames: any albedo there, whatever the house, column and floor.
    for (double x = 0.513; x < 1.88; x += 0.0213)
        for (double y = 0.823; y < 2.74; y += 0.0517) {
            const Rgb here = frontAt(a, x, 4.4 + y, true).albedo;
            const Rgb there = frontAt(b, x + 2 * 2.4, 4.4 + 3.2 + y, true).albedo;
            REQUIRE((here - there).abs().maxCoeff() < 1e-6f);
        }
    // The wall between them: one house pitch apart nothing comes again.
    int alike = 0;
    for (int i = 0; i < 100; ++i) {
        const double v = 4.6 + 0.1 * i;
        const Rgb here = frontAt(a, 0.2, v, true).albedo, there = frontAt(a, 2.6, v, true).albedo;
        alike += (here / there - 1).abs().maxCoeff() < 0.002f;
    }
    CHECK(alike < 10);
}

TEST_CASE("Lamps are hundreds of times brighter than the walls, and the high sky is nearly bare") {
    const Scene scene({.seed = 1, .light = Light::night});
    const SceneView view = scene.seenFrom(Vector3d::Zero(), std::nullopt);
    CHECK(view.radiance(scene.plan().lamps[0].centre.normalized()).maxCoeff() >= 300);
    double sum = 0;
    int walls = 0, starry = 0, sky = 0;
    for (double pan = 0; pan < 6.28; pan += 0.01) {
        const double light = view.radiance(direction(pan, 0.2)).mean();
        if (light < 0.5) {
            sum += light;
            ++walls;
        }
        for (double tilt = 1.0; tilt < 1.5; tilt += 0.003, ++sky) {
            const double here = view.radiance(direction(pan, tilt)).mean();
            CHECK(here < 0.2);
            starry += here > 0.012;
        }
    }
    CHECK(sum / walls > 0.01);
    CHECK(sum / walls < 0.3);
    CHECK(starry < 0.002 * sky);
}

TEST_CASE("By day the sun is thousands of times white and stands free of the houses") {
    for (const uint32_t seed : {1u, 2u, 3u, 4u, 5u}) {
        const Scene scene({.seed = seed, .light = Light::day});
        const SceneView view = scene.seenFrom(Vector3d::Zero(), std::nullopt);
        CHECK(view.radiance(scene.sky().towardSun).maxCoeff() >= 4500);
    }
}

TEST_CASE("From a place a little aside, near things move against far ones") {
    // A lamp's direction must follow the eye: the parallax that shows in plates off the pupil.
    const Scene scene({.seed = 1, .light = Light::night});
    const Vector3d eye(0.2, -0.1, 0.05);
    const SceneView view = scene.seenFrom(eye, std::nullopt);
    for (size_t i = 0; i < 5; ++i) {
        const Vector3d lamp = scene.plan().lamps[i].centre;
        CHECK(view.radiance((lamp - eye).normalized()).maxCoeff() >= 300);
    }
}
