#include "world/hero_shot.h"

#include <unistd.h>

#include <catch2/catch.hpp>
#include <filesystem>

#include "calib/angle.h"
#include "io/lens_track.h"
#include "io/plate_file.h"
#include "world/view_truth.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

HeroSettings smallHero() {
    HeroSettings settings;
    settings.frames = 3;
    settings.width_px = 64;
    settings.height_px = 36;
    settings.scene.light = Light::constant;
    return settings;
}

struct Folder {
    std::filesystem::path path =
        std::filesystem::temp_directory_path() / ("plateloom-hero-" + std::to_string(::getpid()));
    Folder() { std::filesystem::create_directories(path); }
    ~Folder() { std::filesystem::remove_all(path); }
};

double turn_deg(const io::LensSample& sample, const PlannedPlate& plate) {
    REQUIRE(sample.pose);
    return calib::angleBetween_deg(calib::worldFromCamera(*sample.pose),
                                   calib::worldFromCamera(plate.pose));
}

}  // namespace

TEST_CASE("The hero's lens is usable at every frame and breathes with the focus", "[hero]") {
    for (const auto look : {LensLook::barrel, LensLook::pincushion, LensLook::mustache}) {
        HeroSettings settings;
        settings.look = look;
        const Shoot hero = planHeroShot(settings);
        REQUIRE(hero.plates.size() == 24);
        for (const PlannedPlate& plate : hero.plates)
            CHECK_FALSE(calib::faultOf(plate.lens, hero.sensor).has_value());
        const calib::Lens &first = hero.plates.front().lens, &last = hero.plates.back().lens;
        CHECK(first.focus_m == Approx(9.0));
        CHECK(last.focus_m == Approx(1.8));
        CHECK(last.focal_mm > 1.005 * first.focal_mm);
        CHECK(last.distortion.radial[0] != first.distortion.radial[0]);
    }
}

TEST_CASE("Samples between frames lie between them, and on frames they are the frames' own",
          "[hero]") {
    const HeroSettings settings;
    const Shoot frames = planHeroShot(settings), samples = planHeroSamples(settings, 4);
    REQUIRE(samples.plates.size() == 4 * 23 + 1);
    for (size_t i = 0; i < frames.plates.size(); ++i) {
        CHECK(samples.plates[4 * i].pose.pan_deg == frames.plates[i].pose.pan_deg);
        CHECK(samples.plates[4 * i].frame == frames.plates[i].frame);
    }
    for (size_t i = 1; i < samples.plates.size(); ++i)
        CHECK(samples.plates[i].pose.pan_deg < samples.plates[i - 1].pose.pan_deg);
}

TEST_CASE("The hero's tracks, as JSON and as CSV, give back every frame's pose and lens",
          "[hero]") {
    const Folder folder;
    const HeroSettings settings = smallHero();
    const Shoot hero = planHeroShot(settings);
    writeHeroShot(folder.path, settings, 2, calib::Matrix3d::Identity());
    const io::LensTrack json = io::readLensTrack(folder.path / "hero.jsonl");
    const io::LensTrack csv = io::readLensTrack(folder.path / "hero.csv");
    CHECK(json.warnings.empty());
    CHECK(csv.warnings.empty());
    REQUIRE(json.samples.size() == 5);
    REQUIRE(csv.samples.size() == 3);
    for (size_t i = 0; i < 3; ++i) {
        const auto file = io::readPlateHeader(folder.path / hero.plates[i].file);
        CHECK(file.timecode() == csv.samples[i].timecode);
        CHECK(csv.samples[i].frame == 1001 + int64_t(i));
        CHECK(json.samples[2 * i].sub_frame == 0);
        CHECK(json.samples[2 * i].timecode == csv.samples[i].timecode);
        for (const io::LensSample* sample : {&json.samples[2 * i], &csv.samples[i]}) {
            CHECK(turn_deg(*sample, hero.plates[i]) < 1e-9);
            CHECK(sample->lens.distortion.radial == hero.plates[i].lens.distortion.radial);
            CHECK(sample->lens.shading.a1 == Approx(hero.plates[i].lens.shading.a1).epsilon(1e-12));
            CHECK(sample->sensor_width_mm == Approx(36.0));
        }
    }
    CHECK(json.samples[1].sub_frame == 1);
}

TEST_CASE("Tracks given in another world turn as a whole; the truth stays", "[hero]") {
    const Folder folder;
    const HeroSettings settings = smallHero();
    const Shoot hero = planHeroShot(settings);
    const calib::Matrix3d turn = calib::worldFromCamera({70, 3, -2});
    writeHeroShot(folder.path, settings, 1, turn);
    for (const char* name : {"hero.jsonl", "hero.csv"}) {
        const io::LensTrack track = io::readLensTrack(folder.path / name);
        for (size_t i = 0; i < 3; ++i) {
            REQUIRE(track.samples[i].pose);
            const calib::Matrix3d given = calib::worldFromCamera(*track.samples[i].pose);
            CHECK(calib::angleBetween_deg(
                      given, turn * calib::worldFromCamera(hero.plates[i].pose)) < 1e-9);
        }
    }
}

TEST_CASE("A view that is the recorded frame passes; one turned by a tenth of a pixel shows it",
          "[hero]") {
    HeroSettings settings;
    settings.width_px = 512;
    settings.height_px = 288;
    settings.frames = 1;
    settings.samples = 4;
    const Scene scene(settings.scene);
    Shoot hero = planHeroShot(settings);
    const io::Picture recorded = recordPlate(hero, scene, 0);
    hero.plates[0].seed += 17;  // other samples of the same light
    const ViewErrors same = compareView(recordPlate(hero, scene, 0), recorded);
    CHECK(same.covered == 1);
    REQUIRE(same.patches.size() > 100);
    CHECK(largestZone_px(zonesOf(same.patches, recorded.width, recorded.height)) < 0.02);
    CHECK(same.p95_area_light < 0.02);

    const double focal_px = calib::LensMap(hero.plates[0].lens, hero.sensor).focal_px();
    hero.plates[0].pose.pan_deg += 0.1 / focal_px * calib::kDegPerRad;
    io::Picture turned = recordPlate(hero, scene, 0);
    for (float& value : turned.data) value *= 0.25f;
    const ViewErrors off = compareView(turned, recorded);
    const auto zones = zonesOf(off.patches, recorded.width, recorded.height);
    REQUIRE(zones.size() > 12);
    for (const ZoneShift& zone : zones) {
        CHECK(zone.dx_px == Approx(0.1).margin(0.025));  // pan to the left moves the world right
        CHECK(std::abs(zone.dy_px) < 0.025);
    }
    CHECK(off.factor[1] == Approx(4.0f).epsilon(0.002));
}

TEST_CASE("Light that falls off where it should not shows in the means over areas", "[hero]") {
    HeroSettings settings;
    settings.width_px = 256;
    settings.height_px = 144;
    settings.frames = 1;
    settings.scene.light = Light::constant;
    const Scene scene(settings.scene);
    Shoot hero = planHeroShot(settings);
    const io::Picture recorded = recordPlate(hero, scene, 0);
    hero.plates[0].lens.shading.a1 *= 1.3;
    const ViewErrors off = compareView(recordPlate(hero, scene, 0), recorded);
    CHECK(off.p95_area_light > 0.01);
}
