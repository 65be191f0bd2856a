#include "io/solve_file.h"

#include <catch2/catch.hpp>
#include <fstream>

#include "io/lens_track.h"

using namespace plateloom;

namespace {

std::filesystem::path inTemporaryFolder(const char* name) {
    return std::filesystem::temp_directory_path() / name;
}

std::string contentOf(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
}

std::vector<io::SolvedPlate> twoPlates() {
    io::SolvedPlate a;
    a.file = "setup 7 \"left\".0001.exr";
    a.placed = true;
    a.placed_by = "ties";
    a.pose = {-123.45678901234567, 12.000000000000002, 1.0 / 3};
    a.lens.focal_mm = 24.3 / 7;
    a.lens.distortion.direction = calib::DistortionDirection::flat_to_recorded;
    a.lens.distortion.radial = {1.0 / 3e4, -2e-7 / 3, 1e-300, 0, 5e-13, 0};
    a.lens.distortion.tangential = {1e-6 / 7, -1e-6 / 3};
    a.lens.distortion_offset_mm = {0.1 / 3, -0.2};
    a.lens.projection_offset_mm = {-0.3, 0.7 / 3};
    a.lens.shading = {1e-3 / 3, -1e-6 / 7, 1e-10};
    a.lens.focus_m = 10.0 / 3;
    a.lens.t_stop = 2.8;
    a.sensor = {36, 20.25, 2048, 1152};
    a.gain = {1.01, 1.0 / 3, 0.97};
    a.ties = 431;
    a.rms_px = 0.0712;
    a.sigma_px = 0.015;
    a.frame_rate = io::FrameRate{30000, 1001};
    a.timecode_word = io::smpteWord({1, 2, 3, 4, true}, a.frame_rate);
    io::SolvedPlate b;
    b.file = "b.exr";
    b.why_not = "bare sky";
    b.lens.focal_mm = 24;
    b.sensor = a.sensor;
    b.timecode_word = io::smpteWord({1, 2, 3, 9, false});
    return {a, b};
}

}  // namespace

TEST_CASE("A solve read back is the solve that was written, to the last bit") {
    const auto path = inTemporaryFolder("plateloom_solve_test.jsonl");
    const auto written = twoPlates();
    io::writeSolve(path, written);
    const auto read = io::readSolve(path);
    REQUIRE(read.size() == written.size());
    for (size_t i = 0; i < read.size(); ++i) {
        const io::SolvedPlate &a = written[i], &b = read[i];
        CHECK(a.file == b.file);
        CHECK(a.placed == b.placed);
        CHECK(a.placed_by == b.placed_by);
        CHECK(a.why_not == b.why_not);
        CHECK(a.pose.pan_deg == b.pose.pan_deg);
        CHECK(a.pose.tilt_deg == b.pose.tilt_deg);
        CHECK(a.pose.roll_deg == b.pose.roll_deg);
        CHECK(a.lens.focal_mm == b.lens.focal_mm);
        CHECK(a.lens.distortion.direction == b.lens.distortion.direction);
        CHECK(a.lens.distortion.radial == b.lens.distortion.radial);
        CHECK(a.lens.distortion.tangential == b.lens.distortion.tangential);
        CHECK(a.lens.distortion_offset_mm == b.lens.distortion_offset_mm);
        CHECK(a.lens.projection_offset_mm == b.lens.projection_offset_mm);
        CHECK(a.lens.shading.a1 == b.lens.shading.a1);
        CHECK(a.lens.shading.a3 == b.lens.shading.a3);
        CHECK(a.lens.focus_m == b.lens.focus_m);
        CHECK(a.lens.t_stop == b.lens.t_stop);
        CHECK(a.sensor.width_mm == b.sensor.width_mm);
        CHECK(a.sensor.height_mm == b.sensor.height_mm);
        CHECK(a.sensor.width_px == b.sensor.width_px);
        CHECK(a.gain == b.gain);
        CHECK(a.ties == b.ties);
        CHECK(a.rms_px == b.rms_px);
        CHECK(a.sigma_px == b.sigma_px);
        CHECK(a.timecode_word == b.timecode_word);
        CHECK(a.frame_rate == b.frame_rate);
    }
    std::filesystem::remove(path);
}

TEST_CASE("The same solve written twice is the same file") {
    const auto a = inTemporaryFolder("plateloom_solve_a.jsonl");
    const auto b = inTemporaryFolder("plateloom_solve_b.jsonl");
    io::writeSolve(a, twoPlates());
    io::writeSolve(b, twoPlates());
    CHECK(contentOf(a) == contentOf(b));
    std::filesystem::remove(a);
    std::filesystem::remove(b);
}

TEST_CASE("A solve is a lens track as well, and its samples name their plates") {
    const auto path = inTemporaryFolder("plateloom_solve_as_track.jsonl");
    io::writeSolve(path, twoPlates());
    const auto track = io::readLensTrack(path);
    REQUIRE(track.samples.size() == 2);
    CHECK(track.samples[0].file == "setup 7 \"left\".0001.exr");
    CHECK(track.samples[0].pose->pan_deg == -123.45678901234567);
    CHECK(track.samples[0].timecode == io::Timecode{1, 2, 3, 4, true});
    CHECK_FALSE(track.samples[1].pose);
    std::filesystem::remove(path);
}

TEST_CASE("A line that a person wrote by hand needs no more than file, rotation and lens") {
    const auto path = inTemporaryFolder("plateloom_solve_by_hand.jsonl");
    std::ofstream(path) << R"({"custom": {"plateloom": {"file": "a.exr"}},
        "transforms": [{"rotation": {"pan": 10, "tilt": 1}}],
        "lens": {"pinholeFocalLength": 24},
        "static": {"camera": {"activeSensorPhysicalDimensions": {"width": 36},
                              "activeSensorResolution": {"width": 2000, "height": 1000}}}})";
    const auto plates = io::readSolve(path);
    REQUIRE(plates.size() == 1);
    CHECK(plates[0].placed);
    CHECK(plates[0].pose.pan_deg == 10);
    CHECK(plates[0].gain == std::array<double, 3>{1, 1, 1});
    CHECK(plates[0].sensor.height_mm == 18);
    std::filesystem::remove(path);
}

TEST_CASE("A solve whose lens or gain can't be used is refused where it stands") {
    const auto path = inTemporaryFolder("plateloom_solve_fault_test.jsonl");
    const auto refused = [&](const auto& change) {
        auto plates = twoPlates();
        plates[0].lens = {};
        plates[0].lens.focal_mm = 24;
        change(plates[0]);
        io::writeSolve(path, plates);
        return [path] { (void)io::readSolve(path); };
    };
    refused([](io::SolvedPlate&) {})();
    // Folds at 16 of the 20.7 mm to the corner.
    CHECK_THROWS_WITH(
        refused([](io::SolvedPlate& p) { p.lens.distortion.radial[0] = -1.0 / (3 * 256); })(),
        Catch::Contains("plateloom_solve_fault_test.jsonl:1") && Catch::Contains("lens"));
    CHECK_THROWS_WITH(refused([](io::SolvedPlate& p) { p.lens.shading.a1 = 0.004; })(),
                      Catch::Contains("lens"));
    CHECK_THROWS_WITH(refused([](io::SolvedPlate& p) {
                          p.gain = {1, 1e300, 1};
                      })(),
                      Catch::Contains("gain"));
    std::filesystem::remove(path);
}
