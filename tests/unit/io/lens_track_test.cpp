#include "io/lens_track.h"

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>

#include "calib/focus.h"
#include "io/input_error.h"
#include "tests/program.h"

using namespace plateloom;
using Catch::Matchers::Contains;

namespace {

/// A file of its own for each text, gone with the test.
class TextFile {
public:
    TextFile(const std::string& name, const std::string& text)
        : path_(std::filesystem::temp_directory_path() / ("plateloom_lens_track_test_" + name)) {
        std::ofstream(path_, std::ios::binary) << text;
    }
    ~TextFile() { std::filesystem::remove(path_); }
    [[nodiscard]] const std::filesystem::path& path() const { return path_; }

private:
    std::filesystem::path path_;
};

io::LensTrack read(const std::string& name, const std::string& text) {
    const TextFile file(name, text);
    return io::readLensTrack(file.path());
}

const std::string kStatic = R"("static": {"camera": {
    "activeSensorPhysicalDimensions": {"height": 20.25, "width": 36.0}, "label": "B"},
    "lens": {"nominalFocalLength": 25}},)";

std::string sample(const std::string& extra, const std::string& focal, int frames) {
    return "{" + extra + R"("lens": {"pinholeFocalLength": )" + focal +
           R"(, "distortion": [{"radial": [1e-4, 2e-5, 3e-6, 4e-7, 5e-8, 6e-9],
               "tangential": [1e-5, 2e-5]}]},
               "timing": {"timecode": {"hours": 1, "minutes": 2, "seconds": 3, "frames": )" +
           std::to_string(frames) + R"(, "frameRate": {"num": 24000, "denom": 1001}}}})";
}

}  // namespace

TEST_CASE("An array, one sample a line, and pretty-printed samples in a row are the same track") {
    const std::string a = sample(kStatic, "24.5", 0), b = sample("", "25.5", 1);
    for (const auto& text : {"[" + a + ",\n" + b + "]", a + "\n" + b + "\n", a + b,
                             "\xEF\xBB\xBF\r\n" + a + "\r\n\r\n" + b}) {
        const io::LensTrack track = read("forms.json", text);
        REQUIRE(track.samples.size() == 2);
        CHECK(track.samples[0].lens.focal_mm == 24.5);
        CHECK(track.samples[1].lens.focal_mm == 25.5);
        CHECK(track.samples[1].sensor_width_mm == 36.0);
        CHECK(track.samples[1].camera == "B");
        CHECK_FALSE(track.samples[1].focal_is_nominal);
        CHECK(track.samples[1].timecode == io::Timecode{1, 2, 3, 1, false});
        CHECK(track.samples[0].lens.distortion.radial[5] == 6e-9);
        CHECK(track.samples[0].lens.distortion.tangential[1] == 2e-5);
        CHECK(track.samples[0].lens.distortion.direction ==
              calib::DistortionDirection::recorded_to_flat);
    }
}

TEST_CASE("A static block that comes late holds for the samples before it as well") {
    const auto track = read("late.jsonl", sample("", "24", 0) + "\n" + sample(kStatic, "24", 1));
    CHECK(track.samples[0].sensor_width_mm == 36.0);
}

TEST_CASE("Where both directions of a distortion are given, the one that flattens is used") {
    const auto track = read("both.json", R"({"lens": {"pinholeFocalLength": 20, "distortion": [
        {"model": "brown-conrady u-d", "radial": [1e-3]},
        {"model": "Brown-Conrady D-U", "radial": [-1e-3]}]}})");
    CHECK(track.samples[0].lens.distortion.radial[0] == -1e-3);
    const auto one = read("ud.json", R"({"lens": {"pinholeFocalLength": 20, "distortion": [
        {"model": "brown-conrady u-d", "radial": [1e-3]}]}})");
    CHECK(one.samples[0].lens.distortion.direction == calib::DistortionDirection::flat_to_recorded);
}

TEST_CASE("A chain of transforms is one pose, composed in its order") {
    const auto track = read("chain.json", R"({"transforms": [
        {"translation": {"x": 1, "y": 0, "z": 0}, "rotation": {"pan": 90, "tilt": 0, "roll": 0}},
        {"translation": {"x": 0, "y": 2, "z": 0}, "rotation": {"pan": 0, "tilt": 30, "roll": 0},
         "scale": {"x": 5, "y": 5, "z": 5}},
        {"translation": {"x": 0, "y": 0, "z": 0}, "rotation": {"pan": 0, "tilt": 0, "roll": 10}}]})");
    const io::LensSample& s = track.samples[0];
    REQUIRE(s.pose);
    CHECK(s.pose->pan_deg == Approx(90).margin(1e-9));
    CHECK(s.pose->tilt_deg == Approx(30).margin(1e-9));
    CHECK(s.pose->roll_deg == Approx(10).margin(1e-9));
    // Two metres forward from a camera that looks to the left is two metres to the left.
    CHECK((*s.translation_m - calib::Vector3d(-1, 0, 0)).norm() < 1e-12);
    CHECK_FALSE(s.has_focal);
}

TEST_CASE("A nominal focal length stands in where the pinhole one is missing, and says so") {
    const auto track = read("nominal.json", "{" + kStatic + R"("lens": {"focusDistance": 3}})");
    CHECK(track.samples[0].has_focal);
    CHECK(track.samples[0].focal_is_nominal);
    CHECK(track.samples[0].lens.focal_mm == 25);
    CHECK_FALSE(track.samples[0].has_distortion);
}

TEST_CASE("A CSV gives the same sample as JSON, whatever its separator, case and line ends") {
    for (const auto& text :
         {std::string("\xEF\xBB\xBFTimecode,FOCAL_mm, k1 ,k2,p1,a1,sensor_width_mm,fps,pan_deg,"
                      "tilt_deg\r\n# a comment\r\n01:02:03:04,24.5,1e-4,2e-5,3e-5,4e-4,36,23.976,"
                      "10,-5\r\n"),
          std::string("timecode;Focal (mm);k1;k2;p1;a1;sensor width (mm);fps;pan_deg;tilt_deg\n"
                      "\"01:02:03:04\";24,5;1e-4;2e-5;3e-5;4e-4;36;23,976;10;-5\n")}) {
        const auto track = read("track.csv", text);
        REQUIRE(track.samples.size() == 1);
        const io::LensSample& s = track.samples[0];
        CHECK(s.lens.focal_mm == 24.5);
        CHECK(s.lens.distortion.radial[1] == 2e-5);
        CHECK(s.lens.distortion.tangential[0] == 3e-5);
        CHECK(s.lens.shading.a1 == 4e-4);
        CHECK(s.sensor_width_mm == 36.0);
        CHECK(s.frame_rate == io::FrameRate{24000, 1001});
        CHECK(s.pose->tilt_deg == -5);
        CHECK(s.timecode == io::Timecode{1, 2, 3, 4, false});
    }
}

TEST_CASE("A CSV's units are those that its column names say") {
    const auto track = read("units.csv",
                            "focal_mm,focus_ft,sensor_width_in,pan_rad,tilt_rad\n"
                            "50,10,1,3.141592653589793,0\n");
    CHECK(*track.samples[0].lens.focus_m == Approx(3.048));
    CHECK(*track.samples[0].sensor_width_mm == Approx(25.4));
    CHECK(track.samples[0].pose->pan_deg == Approx(180));
}

TEST_CASE("Unknown columns are named once") {
    const auto track = read("extra.csv", "focal_mm,mood,weather\n50,good,rain\n50,good,rain\n");
    REQUIRE(track.warnings.size() == 1);
    CHECK_THAT(track.warnings[0], Contains("mood, weather"));
}

TEST_CASE("Samples out of order are told, not refused; midnight is not disorder") {
    CHECK(read("order.jsonl", sample("", "24", 5) + sample("", "24", 3)).warnings.size() == 1);
    CHECK(read("midnight.csv", "timecode,focal_mm\n23:59:59:23,24\n00:00:00:00,24\n")
              .warnings.empty());
}

TEST_CASE("A camera report gives what it has, and empty cells are not zeros") {
    const TextFile file("report.csv", "file,pan_deg,tilt_deg,t_stop,nd_stops\na.exr,10,,2.8,0.9\n");
    const auto report = io::readCameraReport(file.path());
    REQUIRE(report.lines.size() == 1);
    CHECK(report.lines[0].pan_deg == 10.0);
    CHECK_FALSE(report.lines[0].tilt_deg);
    CHECK(report.lines[0].nd_stops == 0.9);
}

TEST_CASE("A frame number beyond what a double counts is refused, not wrapped") {
    const test::Folder folder;
    for (const char* frame : {"1e300", "-1e19", "9007199254740994", "1.5"}) {
        INFO(frame);
        test::put(folder / "track.csv", std::string("frame,focal_mm\n") + frame + ",24\n");
        CHECK_THROWS_WITH(io::readLensTrack(folder / "track.csv"), Contains("not a whole number"));
    }
    test::put(folder / "track.csv", "frame,focal_mm\n9007199254740992,24\n");
    CHECK(io::readLensTrack(folder / "track.csv").samples[0].frame == int64_t(1) << 53);
}

TEST_CASE("Focus at infinity is understood in tracks and camera reports") {
    const test::Folder folder;
    for (const char* word : {"inf", "Infinity", "INF", "\u221e", "1e30"}) {
        test::put(folder / "track.csv", std::string("focal_mm,focus_ft\n24,") + word + "\n");
        test::put(folder / "report.csv", std::string("file,focus_m\na.exr,") + word + "\n");
        const auto track = io::readLensTrack(folder / "track.csv");
        const auto report = io::readCameraReport(folder / "report.csv");
        INFO(word);
        CHECK(track.samples[0].lens.focus_m == calib::kFocusAtInfinity_m);
        CHECK(report.lines[0].focus_m == calib::kFocusAtInfinity_m);
    }
    for (const char* value : {"\"inf\"", "\"Infinity\"", "1e30"}) {
        INFO(value);
        test::put(folder / "track.json",
                  std::string("{\"lens\": {\"focusDistance\": ") + value + "}}");
        CHECK(io::readLensTrack(folder / "track.json").samples[0].lens.focus_m ==
              calib::kFocusAtInfinity_m);
    }
    test::put(folder / "track.json", R"({"lens": {"focusDistance": "far"}})");
    CHECK_THROWS_WITH(io::readLensTrack(folder / "track.json"),
                      Contains("lens.focusDistance: is not a number: \"far\""));
    test::put(folder / "track.csv", "focal_mm,focus_m\n24,nan\n");
    CHECK_THROWS_WITH(io::readLensTrack(folder / "track.csv"), Contains("not a finite number"));
    test::put(folder / "track.csv", "focal_mm,focus_m\ninf,3\n");
    CHECK_THROWS_WITH(io::readLensTrack(folder / "track.csv"), Contains("not a finite number"));
}
