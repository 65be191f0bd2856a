#include "stitch/compose/overlap_shading.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "calib/pose.h"
#include "stitch/compose/light_balance.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

const calib::Sensor kSensor{36, 20.25, 320, 180};

// A world of soft light with patches in it; repeats nowhere.
double radiance(const calib::Vector3d& d) {
    return 0.3 * (1.3 + std::sin(3.1 * d.x() + 0.3) * std::cos(2.7 * d.y()) +
                  0.3 * std::sin(17 * d.z() + 5 * d.x()) * std::sin(13 * d.y()));
}

calib::Lens lensWith(const calib::Shading& shading) {
    calib::Lens lens;
    lens.focal_mm = 24;
    lens.distortion.radial[0] = 1.5e-4;
    lens.shading = shading;
    return lens;
}

struct Shot {
    calib::Lens lens;
    calib::PanTiltRoll pose;
    double exposure = 1;
};

// Recorded through a lens whose shading the placed plate does not know.
io::PlatePixels record(const Shot& shot, float noise, std::mt19937& random) {
    const calib::LensMap lens(shot.lens, kSensor);
    const auto worldFromCamera = calib::worldFromCamera(shot.pose);
    std::normal_distribution<float> grain(0, noise);
    io::PlatePixels pixels;
    pixels.width = kSensor.width_px;
    pixels.height = kSensor.height_px;
    pixels.clip_level = 1e9f;
    for (int y = 0; y < kSensor.height_px; ++y)
        for (int x = 0; x < kSensor.width_px; ++x) {
            const calib::Vector2d px(x + 0.5, y + 0.5);
            const double light = shot.exposure * lens.transmission(px) *
                                 radiance(worldFromCamera * *lens.rayFromRecorded(px));
            for (const double tint : {1.0, 0.8, 0.6})
                pixels.full.push_back(float(light * tint) + grain(random));
            pixels.full.push_back(1);
        }
    return pixels;
}

struct Recorded {
    std::vector<Plate> plates;
    std::vector<io::SolvedPlate> solved;
    std::vector<io::PlatePixels> pixels;
};

Recorded recorded(const std::vector<Shot>& shots, float noise) {
    std::mt19937 random(5);
    Recorded out;
    for (const auto& shot : shots) {
        calib::Lens known = shot.lens;
        known.shading = {};
        Plate plate;
        plate.lens = known;
        plate.sensor = kSensor;
        plate.distortion_known = true;
        out.plates.push_back(plate);
        io::SolvedPlate solved;
        solved.placed = true;
        solved.pose = shot.pose;
        solved.lens = known;
        solved.sensor = kSensor;
        out.solved.push_back(solved);
        out.pixels.push_back(record(shot, noise, random));
    }
    return out;
}

LightBalance balanced(Recorded& shoot) {
    PlateStore store([&](int plate) { return shoot.pixels[size_t(plate)]; });
    return balanceLight(shoot.plates, store, shoot.solved);
}

double worstOff(const calib::Shading& found, const calib::Shading& truth) {
    double worst = 0;
    const double h = kSensor.halfDiagonal_mm();
    for (double r = 0; r <= h; r += 0.25)
        worst =
            std::max(worst, std::abs(found.transmission(r * r) / truth.transmission(r * r) - 1));
    return worst;
}

const calib::Shading kWideOpen{6e-4, 1e-6, -3e-10}, kStoppedDown{3e-4, 3e-7, 0};

}  // namespace

TEST_CASE("Shading and exposures are found from the overlaps of a turn", "[shading]") {
    std::vector<Shot> shots;
    for (const double tilt : {-12.0, 14.0})
        for (int i = 0; i < 9; ++i)
            shots.push_back({lensWith(kWideOpen), {-40.0 * i, tilt, 0}, i % 3 == 0 ? 0.6 : 1.0});
    auto shoot = recorded(shots, 0.002f);
    const auto told = balanced(shoot);
    CHECK(told.warnings.empty());
    REQUIRE(told.notes.size() == 1);
    CHECK_THAT(told.notes[0], Catch::Contains("18 plates"));
    // 1.5 % over the frame is the aim; this world is as smooth as a sky, and does better.
    for (const auto& plate : shoot.solved) CHECK(worstOff(plate.lens.shading, kWideOpen) < 0.008);
    double mean = 0;
    std::vector<double> exposures;
    for (size_t i = 0; i < shots.size(); ++i) {
        exposures.push_back(std::log2(shoot.solved[i].gain[1] * shots[i].exposure));
        mean += exposures.back() / double(shots.size());
    }
    for (const double stops : exposures) CHECK(std::abs(stops - mean) < 0.003);
}

TEST_CASE("Plates at another iris get their own shading", "[shading]") {
    std::vector<Shot> shots;
    for (const double tilt : {-12.0, 14.0})
        for (int i = 0; i < 9; ++i)
            shots.push_back(
                {lensWith(i % 3 == 1 ? kStoppedDown : kWideOpen), {-40.0 * i, tilt, 0}, 1});
    const bool said = GENERATE(true, false);
    CAPTURE(said);
    auto shoot = recorded(shots, 0.002f);
    if (said)
        for (size_t i = 0; i < shots.size(); ++i)
            shoot.plates[i].lens.t_stop = i % 9 % 3 == 1 ? 5.6 : 2.8;
    const auto told = balanced(shoot);
    CHECK(told.warnings.empty());
    CHECK(told.notes.size() == (said ? 2 : 1));
    for (size_t i = 0; i < shots.size(); ++i)
        CHECK(worstOff(shoot.solved[i].lens.shading, shots[i].lens.shading) < 0.015);
}

TEST_CASE("A shading that is known is left alone", "[shading]") {
    std::vector<Shot> shots;
    for (int i = 0; i < 9; ++i) shots.push_back({lensWith(kWideOpen), {-40.0 * i, 0, 0}, 1});
    auto shoot = recorded(shots, 0.002f);
    for (size_t i = 0; i < shots.size(); ++i) {
        shoot.plates[i].shading_known = true;
        shoot.solved[i].lens.shading = kWideOpen;
    }
    const auto told = balanced(shoot);
    CHECK(told.notes.empty());
    CHECK(told.warnings.empty());
    CHECK(shoot.solved[0].lens.shading.a1 == kWideOpen.a1);
}

TEST_CASE("Overlaps that can't tell the shading are said to, and none is taken out", "[shading]") {
    // Two plates that share a strip between equal radii.
    std::vector<Shot> shots{{lensWith(kWideOpen), {0, 0, 0}, 1},
                            {lensWith(kWideOpen), {-66, 0, 0}, 1}};
    auto shoot = recorded(shots, 0.01f);
    const auto told = balanced(shoot);
    CHECK(told.notes.empty());
    REQUIRE(told.warnings.size() == 1);
    CHECK_THAT(told.warnings[0], Catch::Contains("none is taken out"));
    CHECK(shoot.solved[0].lens.shading.a1 == 0);
}

TEST_CASE("A shading that takes all light before the corner is not used, and no nan is told",
          "[shading]") {
    // Dark corners beyond what overlaps show: the polynomial that they fit goes below nothing.
    constexpr calib::Shading kTunnel{1e-4, 2e-7, 1.6e-8};
    REQUIRE(kTunnel.transmission(std::pow(kSensor.halfDiagonal_mm(), 2)) < 0);
    std::vector<Shot> shots;
    for (int i = 0; i < 12; ++i)
        shots.push_back({lensWith(kTunnel), {30.0 * i, i % 2 ? 4.0 : -4.0, 0}, 1});
    auto shoot = recorded(shots, 0.002f);
    for (auto& pixels : shoot.pixels)
        for (size_t i = 0; i < pixels.full.size(); i += 4)
            if (pixels.full[i + 1] < 0.02f)
                for (size_t c = 0; c < 4; ++c) pixels.full[i + c] = 0;
    const auto told = balanced(shoot);
    for (const auto& lines : {told.notes, told.warnings})
        for (const auto& line : lines) CHECK_THAT(line, !Catch::Contains("nan"));
    for (const auto& plate : shoot.solved)
        CHECK(plate.lens.shading.transmission(std::pow(kSensor.halfDiagonal_mm(), 2)) > 0);
}
