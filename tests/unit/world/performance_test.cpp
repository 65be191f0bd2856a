#include "world/performance.h"

#include <catch2/catch.hpp>

#include "world/composite_truth.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

struct Recorded {
    HeroSettings settings;
    Shoot hero;
    io::Picture empty;  // exposed
    PerformanceFrame frame;
};

// One frame of the performance, small; rendered once for all tests here.
const Recorded& recorded() {
    static const Recorded all = [] {
        Recorded out;
        out.settings.frames = 2;
        out.settings.width_px = 256;
        out.settings.height_px = 144;
        out.hero = planHeroShot(out.settings);
        const Scene scene(out.settings.scene);
        out.empty = recordLight(out.hero, scene, 0);
        out.frame = recordPerformance(out.hero, scene, 0, Performer(performerAt(out.settings, 0)),
                                      out.empty);
        exposeLight(out.empty, calib::LensMap(out.hero.plates[0].lens, out.hero.sensor),
                    renderSettings(out.hero, out.hero.plates[0]));
        return out;
    }();
    return all;
}

io::Picture compositeOf(const io::Picture& keyed, const io::Picture& empty) {
    io::Picture out = empty;
    for (int y = 0; y < out.height; ++y)
        for (int x = 0; x < out.width; ++x)
            for (int c = 0; c < 3; ++c)
                out.at(x, y)[c] = keyed.at(x, y)[c] + (1 - keyed.at(x, y)[3]) * empty.at(x, y)[c];
    return out;
}

}  // namespace

TEST_CASE("A ray meets the performer where it comes within a rod's radius of its axis",
          "[performance]") {
    const Performer performer({.pan_deg = 30, .distance_m = 4});
    int met = 0, passed = 0;
    for (double tilt = -25; tilt < 20; tilt += 0.73)
        for (double pan = 20; pan < 40; pan += 0.41) {
            const Vector3d ray = calib::worldFromCamera({pan, tilt, 0}) * Vector3d(0, 1, 0);
            // March: the performer's surface is where the distance to the nearest axis is a radius.
            double times = 2, gap = 1;
            for (int step = 0; step < 400 && gap > 1e-5 && times < 8; ++step)
                times += gap = performer.gapAt(times * ray);
            const bool meets = performer.radiance(ray).has_value();
            if (gap <= 1e-5) CHECK(meets);
            if (gap > 1e-3) CHECK_FALSE(meets);
            ++(meets ? met : passed);
        }
    CHECK(met > 100);
    CHECK(passed > 1000);
}

TEST_CASE("On location the square stands where the matte is open, the performer where it is full",
          "[performance]") {
    const Recorded& r = recorded();
    int open = 0, full = 0, soft = 0;
    for (int y = 0; y < r.empty.height; ++y)
        for (int x = 0; x < r.empty.width; ++x) {
            const float matte = r.frame.keyed.at(x, y)[3];
            ++(matte < 1e-6f ? open : matte > 1 - 1e-6f ? full : soft);
            for (int c = 0; c < 3; ++c) {
                const float here = r.frame.location.at(x, y)[c];
                if (matte < 1e-6f)
                    CHECK(here == Approx(r.empty.at(x, y)[c]).epsilon(0.02).margin(1e-4));
                if (matte > 1 - 1e-6f)
                    CHECK(here == Approx(r.frame.keyed.at(x, y)[c]).epsilon(1e-4));
            }
        }
    CHECK(open > 10000);
    CHECK(full > 500);
    CHECK(soft > 500);
}

TEST_CASE("The stage shows the keyed performer before one green, through the lens's fall-off",
          "[performance]") {
    const Recorded& r = recorded();
    const calib::LensMap lens(r.hero.plates[0].lens, r.hero.sensor);
    std::optional<float> green;
    for (int y = 0; y < r.empty.height; y += 3)
        for (int x = 0; x < r.empty.width; x += 3) {
            const float open = 1 - r.frame.keyed.at(x, y)[3];
            if (open < 0.01f) continue;
            const float behind = (r.frame.stage.at(x, y)[1] - r.frame.keyed.at(x, y)[1]) / open /
                                 float(lens.transmission({x + 0.5, y + 0.5}));
            if (!green) green = behind;
            CHECK(behind == Approx(*green).epsilon(1e-3));
        }
    REQUIRE(green);
}

TEST_CASE(
    "A composite of recorded frames has no rim; one whose colour is taken for unassociated has",
    "[performance]") {
    const Recorded& r = recorded();
    const auto good = compareComposite(compositeOf(r.frame.keyed, r.empty), r.frame.location,
                                       r.frame.keyed, r.empty);
    CHECK(good.edge.pixels > 500);
    CHECK(std::abs(good.edge.mean) < 0.02);
    CHECK(good.edge.mean == Approx(good.edge_of_over.mean));
    CHECK(std::abs(good.performer.mean) < 1e-4);
    CHECK(good.whole.median_area_light < 1e-3);

    io::Picture dark = r.frame.keyed;
    for (int y = 0; y < dark.height; ++y)
        for (int x = 0; x < dark.width; ++x)
            for (int c = 0; c < 3; ++c) dark.at(x, y)[c] *= dark.at(x, y)[3];
    const auto rimmed =
        compareComposite(compositeOf(dark, r.empty), r.frame.location, r.frame.keyed, r.empty);
    CHECK(rimmed.edge.mean < good.edge.mean - 0.03);
    CHECK(rimmed.edge_of_over.mean == Approx(good.edge_of_over.mean));
}
