#include "io/clip.h"

#include <catch2/catch.hpp>

#include "io/clip_faults.h"
#include "io/input_error.h"
#include "io/numbered_files.h"
#include "tests/clips_on_disk.h"
#include "tests/moving_panorama_on_disk.h"
#include "tests/program.h"

using namespace plateloom;
using namespace plateloom::io;
using Catch::Contains;
using test::ClipOnDisk;
using test::Folder;

namespace {

Clips find(const std::string& argument, std::optional<FrameRange> frames = {}) {
    return findClips({argument}, frames, "");
}

std::string all(const std::vector<std::string>& lines) {
    std::string text;
    for (const auto& line : lines) text += line + "\n";
    return text;
}

}  // namespace

TEST_CASE("A pattern, a folder and the files one by one are the same clip") {
    const Folder folder;
    test::writeClip(folder.path(), "cam1", {}, 1001, 1005);
    const std::string pattern = (folder / "cam1.####.exr").string();
    std::vector<std::string> files;
    for (int n : {1004, 1001, 1005, 1003, 1002}) files.push_back(framePath(pattern, n).string());
    for (const Clips& found :
         {find(pattern), find(folder.path().string()), findClips(files, {}, "")}) {
        REQUIRE(found.clips.size() == 1);
        const Clip& clip = found.clips.front();
        CHECK(clip.name == "cam1");
        CHECK(clip.pattern == pattern);
        CHECK(clip.numbers == std::vector<int64_t>{1001, 1002, 1003, 1004, 1005});
        CHECK(clip.rate == FrameRate{24, 1});
        CHECK(clip.start == Timecode{1, 0, 0, 0, false});
        CHECK(clip.frame(1003).timecode() == Timecode{1, 0, 0, 2, false});
        CHECK(clip.frame(1003).path.filename() == "cam1.1003.exr");
        CHECK(found.warnings.empty());
    }
}

TEST_CASE("Each name of a folder is a clip of its own; a lone picture is told of") {
    const Folder folder;
    for (const char* name : {"cam1", "cam2"}) test::writeClip(folder.path(), name, {}, 7, 9);
    test::writeClipFrame(folder / "slate.1.exr", {}, 1, 0.5f);
    const Clips found = find(folder.path().string());
    REQUIRE(found.clips.size() == 2);
    CHECK(found.clips[0].name == "cam1");
    CHECK(found.clips[1].name == "cam2");
    CHECK_THAT(all(found.warnings), Contains("slate.1.exr"));
}

TEST_CASE("Clips of one name are told apart by their folders, nameless ones are called after it") {
    const Folder folder;
    test::writeClip(folder / "left", "plate", {}, 1, 2);
    test::writeClip(folder / "right", "plate", {}, 1, 2);
    const Clips found =
        findClips({(folder / "left").string(), (folder / "right").string()}, {}, "");
    REQUIRE(found.clips.size() == 2);
    CHECK(found.clips[0].name == "left/plate");
    CHECK(found.clips[1].name == "right/plate");

    std::filesystem::create_directories(folder / "B_cam");
    for (int n : {1, 2})
        test::writeClipFrame(folder / ("B_cam/" + std::to_string(n) + ".exr"), {}, n, 0.2f);
    CHECK(find((folder / "B_cam").string()).clips.front().name == "B_cam");
}

TEST_CASE("Missing frames are named as ranges, whatever their number") {
    const Folder folder;
    test::writeClip(folder.path(), "cam1", {}, 1001, 1003);
    test::writeClip(folder.path(), "cam1", {}, 1010, 1011);
    test::writeClip(folder.path(), "cam1", {}, 1013, 1300);
    const Clips found = find(folder.path().string());
    REQUIRE(found.warnings.size() == 1);
    CHECK_THAT(found.warnings[0],
               Contains("cam1: frames 1004-1009, 1012 are missing (it has 1001 to 1300)"));
    CHECK_FALSE(found.clips[0].has(1012));
    CHECK_THROWS_WITH(found.clips[0].frame(1012), Contains("has no frame 1012"));
}

TEST_CASE("One frame under two names counts once, as the others are named, and is told of") {
    const Folder folder;
    test::writeClip(folder.path(), "cam", {}, 100, 102);
    test::writeClipFrame(folder / "cam.101.exr", {}, 101, 0.9f);
    test::writeClipFrame(folder / "cam.0101.jpg", {}, 101, 0.9f);
    const Clips found = find(folder.path().string());
    REQUIRE(found.clips.size() == 1);
    CHECK(found.clips[0].numbers == std::vector<int64_t>{100, 101, 102});
    CHECK(found.clips[0].frame(101).path.filename() == "cam.0101.exr");
    CHECK_THAT(all(found.warnings), Contains("frame 101 is there twice"));
    CHECK_THAT(all(found.warnings), Contains("frame 101 is there as .jpg as well"));
}

TEST_CASE("Numbers that grow a digit are one clip") {
    const Folder folder;
    for (int n = 98; n <= 102; ++n)
        test::writeClipFrame(folder / ("cam." + std::to_string(n) + ".exr"), {}, n,
                             0.1f * float(n - 90));
    const Clips found = find((folder / "cam.#.exr").string());
    REQUIRE(found.clips.size() == 1);
    CHECK(found.clips[0].numbers.size() == 5);
    CHECK(found.warnings.empty());
    for (int64_t n = 98; n <= 102; ++n)
        CHECK(std::filesystem::exists(framePath(found.clips[0].pattern, n)));
}

TEST_CASE(
    "Where the timecode slips against the numbers is found in a long clip, between two frames") {
    const Folder folder;
    const int64_t slip = GENERATE(1002, 1037, 1111, 1200);
    for (int64_t n = 1001; n <= 1200; ++n)
        test::writeClipFrame(io::framePath((folder / "cam1.####.exr").string(), n), {}, n,
                             0.001f * float(n - 900), n >= slip ? -1 : 0);
    const Clips found = find(folder.path().string());
    const ClipFaults faults = faultsOf(found.clips[0]);
    REQUIRE(faults.slips.size() == 1);
    CHECK(faults.slips[0].before == slip - 1);
    CHECK(faults.slips[0].after == slip);
    CHECK(faults.slips[0].frames == -1);
    CHECK_THAT(all(found.warnings),
               Contains("cam1: a timecode is there twice: frame " + std::to_string(slip)));
}

TEST_CASE("A timecode that stands still is none; one that passes midnight is no slip") {
    const Folder folder;
    for (int64_t n = 1; n <= 30; ++n) {
        test::writeClipFrame(io::framePath((folder / "still.####.exr").string(), n), {}, n,
                             0.01f * float(n), -n);
        ClipOnDisk midnight;
        midnight.first = 11;
        midnight.start = Timecode{0, 0, 0, 0, false};
        test::writeClipFrame(io::framePath((folder / "night.####.exr").string(), n), midnight, n,
                             0.01f * float(n));
    }
    const Clips still = find((folder / "still.####.exr").string());
    CHECK_FALSE(still.clips[0].start);
    CHECK_THAT(all(still.warnings), Contains("every frame says"));
    const Clips night = find((folder / "night.####.exr").string());
    CHECK(night.clips[0].start == Timecode{23, 59, 59, 14, false});
    CHECK(night.warnings.empty());
}

TEST_CASE("A frame that is the one before byte for byte is named") {
    const Folder folder;
    ClipOnDisk untimed;
    untimed.start.reset();
    test::writeClip(folder.path(), "cam1", untimed, 1, 6);
    std::filesystem::copy_file(folder / "cam1.0003.exr", folder / "cam1.0004.exr",
                               std::filesystem::copy_options::overwrite_existing);
    CHECK_THAT(all(find(folder.path().string()).warnings),
               Contains("cam1: frame 4 repeats the frame before"));
}

TEST_CASE("The rate of a clip whose files do not say it is read off its timecodes") {
    const Folder folder;
    ClipOnDisk clip;
    clip.rate.reset();  // written at 24
    test::writeClip(folder.path(), "cam1", clip, 1001, 1060);
    const Clips found = find(folder.path().string());
    CHECK(found.clips[0].rate == FrameRate{24, 1});
    CHECK_THAT(all(found.notes), Contains("count 24 frames a second"));
}

TEST_CASE("--frames keeps the numbers that it names, and says when it names none") {
    const Folder folder;
    test::writeClip(folder.path(), "cam1", {}, 1001, 1010);
    const Clips found = find(folder.path().string(), FrameRange{1004, 1006});
    CHECK(found.clips[0].numbers == std::vector<int64_t>{1004, 1005, 1006});
    CHECK(found.clips[0].start == Timecode{1, 0, 0, 3, false});
    CHECK_THROWS_WITH(find(folder.path().string(), FrameRange{1, 5}),
                      Contains("1001 to 1010") && Contains("none of --frames 1-5"));
}

TEST_CASE("What is no clip is refused by name") {
    const Folder folder;
    test::writeClipFrame(folder / "plate.exr", {}, 1, 0.5f);
    CHECK_THROWS_WITH(find((folder / "plate.exr").string()), Contains("no frame number"));
    CHECK_THROWS_WITH(find(folder.path().string()), Contains("holds no clip"));
    CHECK_THROWS_WITH(find((folder / "none.####.exr").string()),
                      Contains("no file of such a name"));
    CHECK_THROWS_WITH(find((folder / "none.1001.exr").string()), Contains("no such file"));
}

TEST_CASE("Frames that vanish, or change their size, are named when they are asked for") {
    const Folder folder;
    test::writeClip(folder.path(), "cam1", {}, 1, 4);
    const Clips found = find(folder.path().string());
    std::filesystem::remove(folder / "cam1.0003.exr");
    ClipOnDisk larger;
    larger.width = 64;
    test::writeClipFrame(folder / "cam1.0004.exr", larger, 4, 0.5f);
    CHECK_THROWS_WITH(found.clips[0].frame(3), Contains("cam1.0003.exr") && Contains("gone now"));
    CHECK_THROWS_WITH(found.clips[0].frame(4), Contains("64 x 18") && Contains("32 x 18"));
}

TEST_CASE("Runs of numbers are written as a person writes them") {
    CHECK(runsOf({1, 2, 3, 7, 9, 10}) == "1-3, 7, 9-10");
    CHECK(runsOf({1, 3, 5, 7}, 2) == "1, 3 and 2 more");
    CHECK(framesInWords({5}) == "frame 5");
}

TEST_CASE("A folder of folders, one a camera, is a clip of each; nothing else in them is") {
    const Folder folder;
    for (const char* name : {"cam1", "cam2"}) test::writeClip(folder / name, name, {}, 7, 9);
    for (const char* name : {"A001", "A002"}) test::writeClip(folder / name, "frame", {}, 1, 3);
    std::filesystem::create_directories(folder / "notes");
    test::put(folder / "notes/notes.txt", "x");
    const Clips found = find(folder.path().string());
    REQUIRE(found.clips.size() == 4);
    CHECK(found.clips[0].name == "A001/frame");
    CHECK(found.clips[1].name == "A002/frame");
    CHECK(found.clips[2].name == "cam1");
    CHECK(found.clips[3].name == "cam2");
    CHECK(found.clips[3].numbers == std::vector<int64_t>{7, 8, 9});
    // A folder that holds clips itself is searched no deeper.
    test::writeClip(folder.path(), "top", {}, 1, 2);
    CHECK(find(folder.path().string()).clips.size() == 1);
}

TEST_CASE("A moving panorama among the clips of an earlier run is left out, and said to be") {
    const Folder folder;
    test::writeClip(folder / "cam1", "cam1", {}, 7, 9);
    test::writeMovingPanorama((folder / "pano.####.exr").string(), {}, 7, 9);
    test::writeMovingPanorama((folder / "cam1/pano.####.exr").string(), {}, 7, 9);
    for (const std::string& argument : {folder.path().string(), (folder / "cam1").string()}) {
        const Clips found = find(argument);
        REQUIRE(found.clips.size() == 1);
        CHECK(found.clips[0].name == "cam1");
        CHECK_THAT(all(found.warnings), Contains("left out") && Contains("a panorama"));
    }
    const std::string pattern = (folder / "pano.####.exr").string();
    CHECK_THROWS_WITH(find(pattern), Contains("is a panorama"));
    CHECK(findClips({pattern}, {}, "", ClipsOf::panoramas).clips.size() == 1);
}
