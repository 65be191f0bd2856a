#include "world/shoot.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>

#include "io/lens_track.h"
#include "io/plate_file.h"
#include "io/plate_samples.h"
#include "world/recording.h"
#include "world/timecode_label.h"
#include "world/truth.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

Shoot shootOf(const std::string& grid, uint32_t seed) {
    ShootSettings settings;
    settings.seed = seed;
    settings.rows = rowsOfGrid(grid);
    return planShoot(settings);
}

struct Folder {
    std::filesystem::path path =
        std::filesystem::temp_directory_path() / ("plateloom-shoot-" + std::to_string(::getpid()));
    Folder() { std::filesystem::create_directories(path); }
    ~Folder() { std::filesystem::remove_all(path); }
};

}  // namespace

TEST_CASE("Three rows leave no gap between the lowest and the highest, and plates overlap") {
    for (const uint32_t seed : {1u, 9u}) {
        const Shoot shoot = shootOf("three-rows", seed);
        CHECK(shoot.plates.size() == 25);
        int twice = 0, all = 0;
        for (double tilt = -33; tilt <= 47; tilt += 4)
            for (double pan = -180; pan < 180; pan += 4, ++all) {
                const Vector3d ray = calib::worldFromCamera({pan, tilt, 0}) * Vector3d(0, 1, 0);
                int seen = 0;
                for (const PlannedPlate& plate : shoot.plates) {
                    const calib::LensMap lens(plate.lens, shoot.sensor);
                    const auto px =
                        lens.recordedFromRay(calib::worldFromCamera(plate.pose).transpose() * ray);
                    seen += px && lens.inPicture(*px);
                }
                REQUIRE(seen >= 1);
                twice += seen >= 2;
            }
        CHECK(double(twice) / all > 0.4);
    }
}

TEST_CASE(
    "Every lens of every look is usable over its sensor, both ways of the model, zoomed too") {
    for (const auto look : {LensLook::barrel, LensLook::pincushion, LensLook::mustache})
        for (const auto direction : {calib::DistortionDirection::recorded_to_flat,
                                     calib::DistortionDirection::flat_to_recorded}) {
            ShootSettings settings;
            settings.look = look;
            settings.direction = direction;
            settings.zoom_moves = true;
            settings.rows = rowsOfGrid("three-rows");
            const Shoot shoot = planShoot(settings);
            for (const PlannedPlate& plate : shoot.plates)
                CHECK_FALSE(calib::faultOf(plate.lens, shoot.sensor).has_value());
        }
}

TEST_CASE("Drop-frame labels: an hour of 29.97 is 107,892 frames, by walking and by the formula") {
    // SMPTE ST 12-1: labels 0 and 1 are left out in each minute that is not a tenth.
    const Rate rate{30000, 1001, true};
    const Label hour = labelOf(107892, rate);
    CHECK(hour.hours == 1);
    CHECK(hour.minutes + hour.seconds + hour.frames == 0);
    CHECK(labelOf(1800, rate).minutes == 1);
    CHECK(labelOf(1800, rate).frames == 2);
    for (int64_t frame = 0; frame < 2589408; frame += 1789) {
        const Label label = labelOf(frame, rate);
        const io::Timecode there = io::timecodeOf(frame, {30000, 1001}, true);
        REQUIRE(label.hours == there.hours);
        REQUIRE(label.minutes == there.minutes);
        REQUIRE(label.seconds == there.seconds);
        REQUIRE(label.frames == there.frames);
    }
}

TEST_CASE("What the camera and the lens wrote, the program's readers read back and tie") {
    const Folder folder;
    for (const bool array : {false, true}) {
        ShootSettings settings;
        settings.rows = rowsOfGrid("wide3");
        settings.width_px = 64;
        settings.height_px = 36;
        settings.scene.light = Light::constant;
        settings.rate = {30000, 1001, true};
        const Shoot shoot = planShoot(settings);
        TrackFormat format;
        format.array = array;
        format.poses = true;
        format.pose_noise_deg = 0;
        writeShoot(folder.path, shoot, format, true);
        std::vector<io::PlateFile> files;
        for (const PlannedPlate& plate : shoot.plates)
            files.push_back(io::readPlateHeader(folder.path / plate.file));
        const std::vector<io::LensTrack> tracks{io::readLensTrack(folder.path / "lens.jsonl")};
        CHECK(tracks[0].samples.size() == 5 * shoot.plates.size());
        const io::PlateSamples tied = io::tieSamples(files, tracks);
        CHECK(tied.tied_by == io::PlateSamples::TiedBy::timecode);
        for (size_t i = 0; i < files.size(); ++i) {
            const io::LensSample& sample = *tied.sample[i];
            const calib::Lens& lens = shoot.plates[i].lens;
            CHECK(sample.lens.focal_mm == Approx(lens.focal_mm).epsilon(1e-12));
            CHECK(sample.lens.distortion.radial == lens.distortion.radial);
            CHECK(sample.lens.distortion.tangential == lens.distortion.tangential);
            CHECK((sample.lens.projection_offset_mm - lens.projection_offset_mm).norm() < 1e-12);
            CHECK(sample.lens.shading.a2 == Approx(lens.shading.a2).epsilon(1e-12));
            CHECK(sample.sensor_width_mm == Approx(36.0));
            REQUIRE(sample.pose);
            CHECK(calib::angleBetween_deg(calib::worldFromCamera(*sample.pose),
                                          calib::worldFromCamera(shoot.plates[i].pose)) < 1e-9);
        }
    }
}

TEST_CASE(
    "Photographs are exposed for the eye: the night is lifted, and every one differs a little") {
    const Shoot shoot = planShoot(photographSettings({.seed = 5, .light = Light::night}, 5));
    CHECK(shoot.plates.size() == 8);
    for (const PlannedPlate& plate : shoot.plates) {
        CHECK(plate.exposure > 4.0 * std::exp2(-0.31));
        CHECK(plate.exposure < 4.0 * std::exp2(0.31));
        CHECK(plate.lens.focal_mm == shoot.plates[0].lens.focal_mm);
    }
    CHECK(shoot.plates[0].exposure != shoot.plates[1].exposure);
    CHECK(shoot.plates[0].balance[0] != shoot.plates[1].balance[0]);
}
