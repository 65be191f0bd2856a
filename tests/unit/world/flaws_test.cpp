#include "world/flaws.h"

#include <unistd.h>

#include <catch2/catch.hpp>
#include <filesystem>
#include <map>
#include <set>

#include "io/lens_track.h"
#include "io/plate_file.h"
#include "io/plate_samples.h"
#include "world/recording.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

using Kind = Flaw::Kind;

const Flaw& flawOf(const FlawedShoot& shoot, Kind kind) {
    for (const Flaw& flaw : shoot.flaws)
        if (flaw.kind == kind) return flaw;
    throw std::runtime_error("no such flaw");
}

const PlannedPlate& plateOf(const Shoot& shoot, const std::string& file) {
    for (const PlannedPlate& plate : shoot.plates)
        if (plate.file == file) return plate;
    throw std::runtime_error("no such plate");
}

bool anySees(const Shoot& shoot, const calib::Vector3d& direction) {
    for (const PlannedPlate& plate : shoot.plates) {
        const calib::LensMap lens(plate.lens, shoot.sensor);
        const auto px =
            lens.recordedFromRay(calib::worldFromCamera(plate.pose).transpose() * direction);
        if (px && lens.inPicture(*px)) return true;
    }
    return false;
}

double roughness(const io::Picture& picture) {
    double sum = 0;
    for (int y = 0; y < picture.height; ++y)
        for (int x = 1; x < picture.width; ++x)
            sum += std::abs(picture.at(x, y)[1] - picture.at(x - 1, y)[1]);
    return sum;
}

}  // namespace

TEST_CASE("A flawed shoot has each flaw that was asked for, on plates that stand apart",
          "[flaws]") {
    for (uint32_t seed = 1; seed <= 20; ++seed) {
        const FlawedShoot flawed = flawedShoot(steadySettings(seed), allFlaws(), seed);
        REQUIRE(flawed.flaws.size() == 5);
        CHECK(flawed.shoot.plates.size() == 24);
        std::set<std::string> files;
        for (const Kind kind : {Kind::soft, Kind::iris_unsaid, Kind::lost_sample}) {
            const Flaw& flaw = flawOf(flawed, kind);
            CHECK(files.insert(flaw.file).second);
            CHECK(flaw.pose.tilt_deg < 55);
        }
        std::vector<calib::PanTiltRoll> poses;
        for (const Flaw& flaw : flawed.flaws)
            if (flaw.kind != Kind::off_pupil) poses.push_back(flaw.pose);
        for (size_t i = 0; i < poses.size(); ++i)
            for (size_t j = 0; j < i; ++j)
                CHECK(calib::angleBetween_deg(calib::worldFromCamera(poses[i]),
                                              calib::worldFromCamera(poses[j])) > 40);
        for (size_t i = 0; i < flawed.shoot.plates.size(); ++i)
            CHECK(flawed.shoot.plates[i].file == "plate." + std::to_string(1001 + i) + ".exr");
    }
}

TEST_CASE("The hole is one: nothing sees its middle any more, and plates lie round it", "[flaws]") {
    for (const char* grid : {"three-rows", "ring8", "two-rows"})
        for (const uint32_t seed : {1u, 2u, 3u, 4u}) {
            ShootSettings settings = steadySettings(seed);
            settings.rows = rowsOfGrid(grid);
            const FlawedShoot flawed = flawedShoot(settings, {Kind::hole}, seed);
            const Flaw& hole = flawOf(flawed, Kind::hole);
            CHECK(hole.amount > 1e-3);
            CHECK(hole.pose.tilt_deg < 55);
            int open = 0;
            for (double pan = -20; pan <= 20; pan += 2)
                for (double tilt = -16; tilt <= 16; tilt += 2)
                    open += !anySees(flawed.shoot,
                                     calib::worldFromCamera(
                                         {hole.pose.pan_deg + pan, hole.pose.tilt_deg + tilt, 0}) *
                                         calib::Vector3d(0, 1, 0));
            CHECK(open > 10);
        }
}

TEST_CASE("A sound shoot by the book says one focus and one T-stop all through", "[flaws]") {
    const Shoot shoot = planShoot(steadySettings(4));
    for (const PlannedPlate& plate : shoot.plates) {
        CHECK(plate.lens.focus_m == shoot.plates[0].lens.focus_m);
        CHECK(plate.lens.t_stop == shoot.plates[0].lens.t_stop);
        CHECK(plate.iso == shoot.plates[0].iso);
    }
}

TEST_CASE("Light follows the moved iris, and the track says so or does not", "[flaws]") {
    for (const Kind kind : {Kind::iris_said, Kind::iris_unsaid})
        for (uint32_t seed = 1; seed < 8; ++seed) {
            const FlawedShoot flawed = flawedShoot(steadySettings(seed), {kind}, seed);
            const Shoot sound = planShoot(steadySettings(seed));
            const Flaw& flaw = flawOf(flawed, kind);
            const PlannedPlate& moved = plateOf(flawed.shoot, flaw.file);
            const PlannedPlate& before = plateOf(sound, flaw.file);
            CHECK(std::log2(moved.exposure / before.exposure) == Approx(flaw.amount));
            // A T-stop's square is what light goes by: 2 log2 of the ratio is stops.
            CHECK(2 * std::log2(*before.lens.t_stop / *moved.lens.t_stop) == Approx(flaw.amount));
            CHECK(std::abs(flaw.amount) >= 0.5);
            const double said = *moved.saidLens().t_stop;
            CHECK(said == (kind == Kind::iris_said ? *moved.lens.t_stop : *before.lens.t_stop));
            CHECK_FALSE(calib::faultOf(moved.lens, flawed.shoot.sensor).has_value());
        }
}

TEST_CASE("Written out, the flaws are in the files: softness, a missing sample", "[flaws]") {
    ShootSettings settings = steadySettings(2);
    settings.rows = rowsOfGrid("ring8");
    settings.sky_plate = false;
    settings.width_px = 160;
    settings.height_px = 90;
    settings.focal_mm = 24;
    const FlawedShoot flawed = flawedShoot(settings, {Kind::soft, Kind::lost_sample}, 2);
    const auto folder =
        std::filesystem::temp_directory_path() / ("plateloom-flaws-" + std::to_string(::getpid()));
    writeShoot(folder, flawed.shoot, {}, true);
    writeFlaws(folder / "truth" / "flaws.json", flawed.flaws);
    const io::LensTrack track = io::readLensTrack(folder / "lens.jsonl");
    CHECK(track.samples.size() == 5 * 7);
    const std::string lost = flawOf(flawed, Kind::lost_sample).file;
    for (const PlannedPlate& plate : flawed.shoot.plates) {
        const auto code = io::readPlateHeader(folder / plate.file).timecode();
        int found = 0;
        for (const io::LensSample& sample : track.samples) found += sample.timecode == code;
        CHECK(found == (plate.file == lost ? 0 : 1));
    }
    CHECK(std::filesystem::file_size(folder / "truth" / "flaws.json") > 50);
    std::filesystem::remove_all(folder);

    const Scene scene(settings.scene);
    const Shoot sound = planShoot(settings);
    for (size_t i = 0; i < sound.plates.size(); ++i) {
        if (sound.plates[i].file != flawOf(flawed, Kind::soft).file) continue;
        CHECK(roughness(recordPlate(flawed.shoot, scene, i)) <
              0.75 * roughness(recordPlate(sound, scene, i)));
    }
}
