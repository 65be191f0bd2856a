#include "world/truth.h"

#include <catch2/catch.hpp>
#include <filesystem>
#include <numbers>

#include "tests/program.h"
#include "world/lens_truth.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

// A solve that is right but for a turn of the whole and a gain of the whole.
std::vector<io::SolvedPlate> perfectSolve(const Shoot& shoot, const calib::Matrix3d& turn) {
    std::vector<io::SolvedPlate> solve;
    for (const PlannedPlate& plate : shoot.plates) {
        io::SolvedPlate solved;
        solved.file = plate.file;
        solved.placed = true;
        solved.placed_by = "ties";
        solved.pose = calib::panTiltRoll(turn * calib::worldFromCamera(plate.pose));
        solved.lens = plate.lens;
        solved.sensor = shoot.sensor;
        const double gain = 3.0 / plate.exposure;
        solved.gain = {gain, gain, gain};
        solve.push_back(solved);
    }
    return solve;
}

Shoot ring() {
    ShootSettings settings;
    settings.rows = rowsOfGrid("ring8");
    return planShoot(settings);
}

}  // namespace

TEST_CASE("A solve turned as a whole and brightened as a whole is still perfect") {
    const Shoot shoot = ring();
    const auto errors =
        compareSolve(perfectSolve(shoot, calib::worldFromCamera({77, 12, -5})), truePlates(shoot));
    CHECK(errors.placed == 9);
    CHECK(errors.largest_px < 1e-6);
    CHECK(errors.rms_exposure_stops < 1e-9);
}

TEST_CASE("One plate off by a hundredth of a degree shows as that many pixels") {
    const Shoot shoot = ring();
    auto solve = perfectSolve(shoot, calib::Matrix3d::Identity());
    solve[2].pose.tilt_deg += 0.01;
    solve[5].placed = false;
    const auto errors = compareSolve(solve, truePlates(shoot));
    // The common turn takes up about an eighth of it.
    const double px = 0.01 * std::numbers::pi / 180 * 28.1 / 36 * 2048;
    CHECK(errors.largest_px == Approx(px * 7 / 8).epsilon(0.05));
    CHECK(errors.missing == std::vector<std::string>{shoot.plates[5].file});
}

TEST_CASE("A plate placed by its pose counts apart from those placed by ties") {
    const Shoot shoot = ring();
    auto solve = perfectSolve(shoot, calib::Matrix3d::Identity());
    solve[8].placed_by = "pose";
    solve[8].pose.pan_deg += 1;
    const auto errors = compareSolve(solve, truePlates(shoot));
    CHECK(errors.by_ties == 8);
    CHECK(errors.largest_px < 1e-6);
    CHECK(errors.largest_by_pose_px > 5);
}

TEST_CASE("Pictures of a perfect solve are right however the whole is turned") {
    const Shoot shoot = ring();
    const auto errors = comparePictures(perfectSolve(shoot, calib::worldFromCamera({77, 12, -5})),
                                        trueCameras(shoot));
    CHECK(errors.each.size() == 9);
    CHECK(errors.largest_px < 1e-6);
    CHECK(errors.left_corner_px < 1e-6);
}

TEST_CASE("A lens turned against its camera leaves the picture where it was") {
    const Shoot shoot = ring();
    auto solve = perfectSolve(shoot, calib::Matrix3d::Identity());
    const double shift_mm = 0.01, shift_px = shift_mm / shoot.sensor.mmPerPixelX();
    // The axis shifted over a flat picture that stays, and the camera turned as much the other way.
    for (auto& plate : solve) {
        plate.lens.projection_offset_mm.y() += shift_mm;
        plate.lens.distortion_offset_mm.y() -= shift_mm;
        plate.pose = calib::panTiltRoll(
            calib::worldFromCamera(plate.pose) *
            calib::worldFromCamera(
                {0, -shift_mm / plate.lens.focal_mm * 180 / std::numbers::pi, 0}));
    }
    const auto rotations = compareSolve(solve, truePlates(shoot));
    const auto pictures = comparePictures(solve, trueCameras(shoot));
    CHECK(rotations.rms_px > 0.9 * shift_px);
    CHECK(pictures.rms_px < 0.25 * shift_px);
    CHECK(pictures.turn_rms_px == Approx(shift_px).epsilon(0.25));
}

TEST_CASE("A focal length off by a thousandth shows as that, and leaves nothing else") {
    const Shoot shoot = ring();
    auto solve = perfectSolve(shoot, calib::Matrix3d::Identity());
    solve[3].lens.focal_mm *= 1.001;
    const auto errors = comparePictures(solve, trueCameras(shoot));
    CHECK(errors.each[3].size_ratio == Approx(1.001).epsilon(1e-6));
    CHECK(errors.each[3].left_rms_px < 1e-3);
    CHECK(errors.each[3].diagonal_px > 1);
    CHECK(errors.each[4].diagonal_px < 1e-6);
}

TEST_CASE("True cameras come back from their file as they were") {
    const test::Folder folder;
    const Shoot shoot = ring();
    writeTrueCameras(folder / "cameras.csv", shoot);
    const auto read = readTrueCameras(folder / "cameras.csv");
    const auto errors = comparePictures(perfectSolve(shoot, calib::Matrix3d::Identity()), read);
    CHECK(errors.each.size() == shoot.plates.size());
    CHECK(errors.largest_px < 1e-8);
}

TEST_CASE("A panorama is compared at its own exposure, and a weak lamp is noticed") {
    const Scene scene({.seed = 2, .light = Light::night});
    const calib::Matrix3d turn = calib::worldFromCamera({33, 4, 2});
    const io::Picture truth = truePanorama(scene, 512, turn);
    io::Picture panorama(512, 256, 4, 1.0f);
    for (size_t i = 0; i < 512 * 256; ++i)
        for (size_t c = 0; c < 3; ++c) panorama.data[i * 4 + c] = truth.data[i * 3 + c] * 0.25f;
    PanoramaErrors errors = comparePanorama(panorama, truth, scene, turn);
    CHECK(errors.covered == 1);
    CHECK(errors.largest < 1e-5);
    CHECK(errors.factor[1] == Approx(4.0));
    REQUIRE(errors.lamps.size() > 5);
    for (const LampError& lamp : errors.lamps) CHECK(lamp.energy_ratio == Approx(1.0));

    for (size_t i = 0; i < panorama.data.size(); ++i)
        if (panorama.data[i] > 20 * 0.25f) panorama.data[i] *= 0.9f;
    errors = comparePanorama(panorama, truth, scene, turn);
    CHECK(errors.median < 1e-5);
    CHECK(errors.lamps[0].energy_ratio == Approx(0.9).epsilon(0.03));
}
