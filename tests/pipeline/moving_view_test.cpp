// Views out of a panorama that moves: each frame of the shot shows the panorama of its moment.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "tests/frames_on_disk.h"
#include "tests/movies_in_mp4.h"
#include "tests/moving_panorama_on_disk.h"
#include "tests/program.h"

using namespace plateloom;
using Catch::Contains;
using test::ClipOnDisk;
using test::Folder;
using test::quoted;
using test::run;

namespace {

// A shot's camera of some frames at 24, from 01:00:00:00 on.
void writeCamera(const std::filesystem::path& path, int64_t first, int64_t last, bool timecodes) {
    std::string text = timecodes ? "frame,timecode,fps," : "frame,";
    text += "pan_deg,tilt_deg,roll_deg,focal_mm,sensor_width_mm,k1,a1\n";
    for (int64_t n = first; n <= last; ++n) {
        text += std::to_string(n) + ",";
        if (timecodes)
            text +=
                toString(io::timecodeOf(io::frameNumber({1, 0, 0, 0, false}, {24, 1}) + n - first,
                                        {24, 1}, false)) +
                ",24,";
        text += "10,3,0,28,36,0,0\n";
    }
    test::put(path, text);
}

std::string viewThroughShot(const Folder& folder, const std::string& more) {
    return "view " + quoted(folder / "pano.####.exr") + " --camera " + quoted(folder / "shot.csv") +
           " -o " + quoted(folder / "bg/bg.####.exr") + " " + more;
}
std::string view(const Folder& folder, const std::string& more) {
    return viewThroughShot(folder, "--size 48x27 " + more);
}
std::string viewOfShot(const Folder& folder, const std::string& movie) {
    return viewThroughShot(folder, "--shot " + quoted(folder / movie));
}

float lightOf(const Folder& folder, int64_t frame) {
    const auto picture =
        test::readFrame(io::framePath((folder / "bg/bg.####.exr").string(), frame));
    return picture.data.empty() ? -1 : picture.at(20, 10, 0);
}

}  // namespace

TEST_CASE("By timecode, else by number, each frame shows its panorama; --slip moves it on") {
    const bool timecodes = GENERATE(true, false);
    const int64_t slip = GENERATE(0, 2, -1);
    const Folder folder;
    ClipOnDisk clip;
    clip.first = 501;
    if (!timecodes) clip.start.reset();
    // By timecode the shot's frame 1001 is the panorama's 505.
    if (timecodes) clip.start = io::Timecode{0, 59, 59, 20, false};
    const int64_t at_1001 = timecodes ? 505 : 1001;
    test::writeMovingPanorama((folder / "pano.####.exr").string(), clip, at_1001 - 4, at_1001 + 12);
    writeCamera(folder / "shot.csv", 1001, 1008, true);
    const auto made = run(view(folder, "--slip " + std::to_string(slip)));
    INFO(made.err);
    REQUIRE(made.status == 0);
    CHECK_THAT(made.err, Contains(timecodes ? "by timecode" : "by number"));
    for (int64_t n = 1001; n <= 1008; ++n)
        CHECK(lightOf(folder, n) ==
              Approx(test::panoramaLight(at_1001 + n - 1001 + slip)).margin(1e-3));
}

TEST_CASE("Frames that the panorama lacks are named and left out, status 1") {
    const Folder folder;
    test::writeMovingPanorama((folder / "pano.####.exr").string(), {}, 1001, 1010);
    std::filesystem::remove(folder / "pano.1004.exr");
    writeCamera(folder / "shot.csv", 1001, 1012, true);
    const auto made = run(view(folder, "--json"));
    CHECK(made.status == 1);
    CHECK_THAT(made.err, Contains("frame 1004 was not made: the panorama has no frame 1004"));
    const auto summary = nlohmann::json::parse(made.out);
    CHECK(summary["missing"].size() == 3);
    CHECK(lightOf(folder, 1004) == -1);
    CHECK(lightOf(folder, 1011) == -1);
    CHECK(lightOf(folder, 1010) > 0);
}

TEST_CASE("A shot beyond the panorama is refused, and told by how much to slip it") {
    const Folder folder;
    test::writeMovingPanorama((folder / "pano.####.exr").string(), {}, 1001, 1006);
    writeCamera(folder / "shot.csv", 1001, 1006, true);
    // The camera's clock is its own: an hour later.
    std::string text = test::contents(folder / "shot.csv");
    for (size_t at = 0; (at = text.find(",01:00", at)) != std::string::npos;) text[at + 2] = '2';
    test::put(folder / "shot.csv", text);
    const auto refused = run(view(folder, ""));
    CHECK(refused.status == 3);
    CHECK_THAT(refused.err, Contains("--slip -86400"));
    CHECK(run(view(folder, "--slip -86400")).status == 0);
    CHECK(lightOf(folder, 1003) == Approx(test::panoramaLight(1003)).margin(1e-3));
}

TEST_CASE("Resumed views know which panorama frame they were made from") {
    const Folder folder;
    const std::string pattern = (folder / "pano.####.exr").string();
    test::writeMovingPanorama(pattern, {}, 1001, 1008);
    writeCamera(folder / "shot.csv", 1001, 1005, true);
    REQUIRE(run(view(folder, "")).status == 0);
    CHECK_THAT(run(view(folder, "--resume")).err, Contains("wrote 0 views"));
    CHECK_THAT(run(view(folder, "--resume --slip 1")).err, Contains("wrote 5 views"));
    // One panorama frame is composed anew.
    test::writePanoramaFrame(io::framePath(pattern, 1004), {}, 1040);
    CHECK_THAT(run(view(folder, "--resume --slip 1")).err, Contains("wrote 1 view "));
    CHECK(lightOf(folder, 1003) == Approx(test::panoramaLight(1040)).margin(1e-3));
}

TEST_CASE("Chunks of a shot together are the shot, bit for bit, its missing frames told once") {
    const Folder folder;
    test::writeMovingPanorama((folder / "pano.####.exr").string(), {}, 1001, 1010);
    std::filesystem::remove(folder / "pano.1006.exr");
    writeCamera(folder / "shot.csv", 1001, 1010, true);
    REQUIRE(run(view(folder, "--uv-map " + quoted(folder / "maps"))).status == 1);
    std::filesystem::rename(folder / "bg", folder / "whole");
    std::filesystem::rename(folder / "maps", folder / "whole maps");
    int told = 0;
    for (const char* chunk : {"1/4", "2/4", "3/4", "4/4"}) {
        const auto part = run(
            view(folder, "--chunk " + std::string(chunk) + " --uv-map " + quoted(folder / "maps")));
        CHECK(part.status <= 1);
        const bool tells = part.err.find("frame 1006 was not made") != std::string::npos;
        CHECK((part.status == 1) == tells);
        told += tells;
    }
    CHECK(told == 1);
    for (const auto& [made, whole] : {std::pair{"bg", "whole"}, std::pair{"maps", "whole maps"}}) {
        size_t files = 0;
        for (const auto& entry : std::filesystem::directory_iterator(folder / whole)) {
            CHECK(
                test::samePicture(folder / made / entry.path().filename().string(), entry.path()));
            ++files;
        }
        CHECK(files >= 4);
        CHECK(size_t(std::distance(std::filesystem::directory_iterator(folder / made), {})) ==
              files);
    }
}

TEST_CASE("A camera that stands still sees every frame of the panorama, or those asked for") {
    const Folder folder;
    test::writeMovingPanorama((folder / "pano.####.exr").string(), {}, 1001, 1006);
    const std::string still = "view " + quoted(folder / "pano.####.exr") +
                              " --pose 20,0 --focal 28 --sensor 36x20.25 --size 48x27 -o " +
                              quoted(folder / "bg/bg.####.exr");
    REQUIRE(run(still + " --frames 1003-1004").status == 0);
    CHECK(lightOf(folder, 1002) == -1);
    CHECK(lightOf(folder, 1003) == Approx(test::panoramaLight(1003)).margin(1e-3));
    REQUIRE(run(still).status == 0);
    CHECK(lightOf(folder, 1006) == Approx(test::panoramaLight(1006)).margin(1e-3));
}

TEST_CASE("The shot's recorded frames may be a movie") {
    const Folder folder;
    test::writeMovingPanorama((folder / "pano.####.exr").string(), {}, 1001, 1006);
    test::writeMovie(folder / "shot.avi", 48, 27, 6, {24, 1}, "01:00:00:00", test::movieCode);
    writeCamera(folder / "shot.csv", 1001, 1006, true);
    const auto made = run(viewOfShot(folder, "shot.avi"));
    INFO(made.err);
    REQUIRE(made.status == 0);
    CHECK(lightOf(folder, 1) == Approx(test::panoramaLight(1001)).margin(1e-3));
    CHECK(lightOf(folder, 6) == Approx(test::panoramaLight(1006)).margin(1e-3));
}

TEST_CASE("A view of a shot's movie has the frames that can be decoded, and tells of the others") {
    const Folder folder;
    ClipOnDisk untimed;
    untimed.start.reset();
    test::writeMovingPanorama((folder / "pano.####.exr").string(), untimed, 1, 12);
    test::writeLeaningMovie(folder / "shot.mp4");
    writeCamera(folder / "shot.csv", 1, 12, false);
    const auto made = run(viewOfShot(folder, "shot.mp4"));
    INFO(made.err);
    CHECK(made.status == 0);
    CHECK_THAT(made.err, Contains("frames 11 to 12 are left out: they can't be decoded"));
    CHECK(lightOf(folder, 10) == Approx(test::panoramaLight(10)).margin(1e-3));
    CHECK(lightOf(folder, 11) == -1);
}
