#include "stitch/survey/cover.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "calib/angle.h"
#include "calib/pose.h"
#include "stitch/survey/wanted_cover.h"
#include "world/flaws.h"
#include "world/shoot.h"

using namespace plateloom;
using namespace plateloom::stitch;
using calib::Vector3d;

namespace {

PlacedPlate placedAt(const calib::PanTiltRoll& pose, const calib::Lens& lens,
                     const calib::Sensor& sensor) {
    PlacedPlate plate;
    plate.lens = calib::LensMap(lens, sensor);
    plate.worldFromCamera = calib::worldFromCamera(pose);
    return plate;
}

std::vector<PlacedPlate> placedOf(const world::Shoot& shoot) {
    std::vector<PlacedPlate> placed;
    for (const auto& plate : shoot.plates) {
        placed.push_back(placedAt(plate.pose, plate.lens, shoot.sensor));
        placed.back().plate = int(placed.size()) - 1;
    }
    return placed;
}

const calib::Sensor kSensor{36, 20.25, 640, 360};

calib::Lens plainLens(double focal_mm) {
    calib::Lens lens;
    lens.focal_mm = focal_mm;
    return lens;
}

std::vector<Vector3d> randomDirections(int count, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal;
    std::vector<Vector3d> directions;
    for (int i = 0; i < count; ++i)
        directions.push_back(Vector3d(normal(random), normal(random), normal(random)).normalized());
    return directions;
}

std::vector<Hole> holesOf(const world::Shoot& shoot) {
    const auto frames = sphereFrames(placedOf(shoot));
    const auto rows = plateRows(frames);
    return holesIn(coverMap(frames, 2400), wantedCover(frames, rows, {}));
}

}  // namespace

TEST_CASE("a frame on the sphere sees what its lens puts into the picture", "[cover]") {
    // The table's question against the lens's own answer, over lenses that bend each way.
    for (const auto look :
         {world::LensLook::barrel, world::LensLook::pincushion, world::LensLook::mustache}) {
        const auto lens =
            world::inventedLens(look, calib::DistortionDirection::recorded_to_flat, 24, 5, 2.8);
        const auto plate = placedAt({40, 25, 3}, lens, kSensor);
        const SphereFrame frame(plate.lens, plate.worldFromCamera);
        int wrong = 0, seen = 0;
        for (const auto& direction : randomDirections(40000, 5)) {
            const auto px =
                plate.lens.recordedFromRay(plate.worldFromCamera.transpose() * direction);
            const bool truly = px && plate.lens.inPicture(*px);
            seen += truly;
            wrong += frame.sees(direction) != truly;
        }
        CHECK(seen > 1500);
        CHECK(wrong <= 3);  // within a hair of the edge
    }
}

TEST_CASE("a plain frame's solid angle is that of a rectangular pyramid", "[cover]") {
    // 4 asin(sin(a/2) sin(b/2)), a and b the full angles of view (a textbook formula, from memory).
    const auto plate = placedAt({10, 20, 5}, plainLens(18), kSensor);
    const SphereFrame frame(plate.lens, plate.worldFromCamera);
    const double a = 2 * std::atan(36.0 / 36), b = 2 * std::atan(20.25 / 36);
    const double truth_sr = 4 * std::asin(std::sin(a / 2) * std::sin(b / 2));
    CHECK(frame.solidAngle_sr() == Approx(truth_sr).epsilon(0.002));
    CHECK(coveredShare(coverMap({frame}, 1440)) ==
          Approx(truth_sr / (4 * calib::kPi)).epsilon(0.005));
}

TEST_CASE("a zone covered all round has the area of a zone", "[cover]") {
    // Zone area 2 pi R^2 (sin b - sin a).
    CoverMap map{360, 180, std::vector<uint8_t>(360 * 180, 0)};
    for (int y = 50; y < 80; ++y)  // tilt 40 down to 10
        std::fill_n(map.count.begin() + y * 360, 360, uint8_t(1));
    const double truth =
        0.5 * (std::sin(40 * calib::kRadPerDeg) - std::sin(10 * calib::kRadPerDeg));
    CHECK(coveredShare(map) == Approx(truth).epsilon(1e-9));
}

TEST_CASE("the overlap of two plates is within a percentage point of counting pixels", "[cover]") {
    const auto lens = world::inventedLens(world::LensLook::mustache,
                                          calib::DistortionDirection::flat_to_recorded, 28, 3, 2.8);
    const auto a = placedAt({0, 5, 1}, lens, kSensor);
    for (const auto& pose : {calib::PanTiltRoll{45, 5, 0}, calib::PanTiltRoll{-55, 3, -2},
                             calib::PanTiltRoll{4, 33, 1}, calib::PanTiltRoll{-30, 25, 10},
                             calib::PanTiltRoll{180, 0, 0}}) {
        const auto b = placedAt(pose, lens, kSensor);
        int seen = 0;
        for (int y = 0; y < kSensor.height_px; y += 2)
            for (int x = 0; x < kSensor.width_px; x += 2) {
                const auto ray = a.lens.rayFromRecorded({x + 0.5, y + 0.5});
                const auto px = b.lens.recordedFromRay(b.worldFromCamera.transpose() *
                                                       (a.worldFromCamera * *ray));
                seen += px && b.lens.inPicture(*px);
            }
        const double truth = seen / (0.25 * kSensor.width_px * kSensor.height_px);
        const SphereFrame frame_a(a.lens, a.worldFromCamera), frame_b(b.lens, b.worldFromCamera);
        CHECK(overlapOf(frame_a, frame_b) == Approx(truth).margin(0.005));
    }
}

TEST_CASE("shoots by the book have no holes", "[cover]") {
    for (const char* grid : {"three-rows", "two-rows", "ring8", "arc8"})
        for (uint32_t seed = 1; seed <= 6; ++seed) {
            auto settings = world::steadySettings(seed);
            settings.rows = world::rowsOfGrid(grid);
            settings.sky_plate = seed % 2 == 0;
            settings.width_px = 640;
            settings.height_px = 360;
            const auto holes = holesOf(world::planShoot(settings));
            CAPTURE(grid, seed);
            CHECK(holes.empty());
        }
}

TEST_CASE("a plate that was never shot leaves a hole where it belonged", "[cover]") {
    for (uint32_t seed = 1; seed <= 6; ++seed) {
        auto settings = world::steadySettings(seed);
        settings.width_px = 640;
        settings.height_px = 360;
        const auto flawed = world::flawedShoot(settings, {world::Flaw::Kind::hole}, seed);
        const auto holes = holesOf(flawed.shoot);
        CAPTURE(seed);
        REQUIRE(!holes.empty());
        const Vector3d truth = calib::worldFromCamera(flawed.flaws.front().pose).col(1);
        for (const auto& hole : holes) {
            const Vector3d found = directionOf({hole.pan_deg, hole.tilt_deg});
            CHECK(std::acos(truth.dot(found)) * calib::kDegPerRad < 22);
        }
    }
}

TEST_CASE("holes are found down to half a degree, and measured", "[cover]") {
    CoverMap map{2400, 1200, std::vector<uint8_t>(size_t(2400) * 1200, 1)};
    WantedCover wanted;
    wanted.low_deg = -40;
    wanted.high_deg = 60;
    wanted.all_round = true;
    const auto punch = [&](double pan, double tilt, double width, double height) {
        for (int y = 0; y < map.height; ++y)
            for (int x = 0; x < map.width; ++x) {
                const double off_pan = std::remainder(map.pan_deg(x + 0.5) - pan, 360.0) *
                                       std::cos(tilt * calib::kRadPerDeg);
                if (std::abs(off_pan) < width / 2 &&
                    std::abs(map.tilt_deg(y + 0.5) - tilt) < height / 2)
                    map.count[size_t(y) * map.width + x] = 0;
            }
    };
    punch(20, 10, 0.5, 0.5);
    punch(180, -20, 8, 4);   // across the map's ends
    punch(-90, 75, 10, 10);  // beyond what is wanted
    const auto holes = holesIn(map, wanted);
    REQUIRE(holes.size() == 2);
    CHECK(std::abs(std::remainder(holes[0].pan_deg - 180, 360.0)) < 0.2);
    CHECK(holes[0].tilt_deg == Approx(-20).margin(0.2));
    CHECK(holes[0].width_deg == Approx(8).margin(0.4));
    CHECK(holes[0].height_deg == Approx(4).margin(0.4));
    CHECK(holes[0].area_deg2 == Approx(32).epsilon(0.1));
    CHECK(holes[1].pan_deg == Approx(20).margin(0.2));
    CHECK(holes[1].width_deg == Approx(0.5).margin(0.2));
    REQUIRE(holes[1].outline.size() >= 4);
    CHECK(holes[1].outline.front() == holes[1].outline.back());
}

TEST_CASE("an outline's pan runs on over the seam and does not jump", "[cover]") {
    const auto plate = placedAt({178, 10, 0}, plainLens(24), kSensor);
    const auto outline = SphereFrame(plate.lens, plate.worldFromCamera).outline(10);
    REQUIRE(outline.size() == 41);
    for (size_t i = 1; i < outline.size(); ++i)
        CHECK(std::abs(outline[i][0] - outline[i - 1][0]) < 30);
    CHECK(outline.front()[0] == Approx(outline.back()[0]));
}
