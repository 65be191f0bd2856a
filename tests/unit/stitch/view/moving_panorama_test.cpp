#include "stitch/view/moving_panorama.h"

#include <catch2/catch.hpp>

#include "io/input_error.h"
#include "tests/moving_panorama_on_disk.h"
#include "tests/program.h"

using namespace plateloom;
using namespace plateloom::stitch;
using Catch::Contains;
using test::ClipOnDisk;
using test::Folder;

namespace {

constexpr size_t kCache = 1 << 24;

// Frames 101 to 124 at 24, across midnight: 113 is at 00:00:00:00.
std::string acrossMidnight(const Folder& folder) {
    ClipOnDisk clip;
    clip.first = 113;
    clip.start = io::Timecode{0, 0, 0, 0, false};
    const std::string pattern = (folder / "pano.####.exr").string();
    test::writeMovingPanorama(pattern, clip, 101, 124);
    return pattern;
}

io::ShotFrame at(const io::Timecode& timecode, const io::FrameRate& rate, int64_t number = 1) {
    io::ShotFrame frame;
    frame.number = number;
    frame.timecode = timecode;
    frame.rate = rate;
    return frame;
}

}  // namespace

TEST_CASE("Shot and panorama are tied across midnight, whichever lies before it") {
    const Folder folder;
    MovingPanorama panorama(acrossMidnight(folder), {}, "", kCache, 0);
    REQUIRE(panorama.moves());
    const auto choices =
        panorama.choicesFor({at({23, 59, 59, 23, false}, {24, 1}), at({0, 0, 0, 0, false}, {24, 1}),
                             at({0, 0, 0, 11, false}, {24, 1}), at({0, 0, 0, 12, false}, {24, 1})});
    CHECK(choices[0].number == 112);
    CHECK(choices[1].number == 113);
    CHECK(choices[2].number == 124);
    CHECK_FALSE(choices[3].number);
    CHECK_THAT(choices[3].why, Contains("no frame 125"));
}

TEST_CASE("At another rate a frame has the panorama that shows at its moment") {
    const Folder folder;
    MovingPanorama panorama(acrossMidnight(folder), {}, "", kCache, 1);
    const auto choices =
        panorama.choicesFor({at({0, 0, 0, 4, false}, {48, 1}), at({0, 0, 0, 5, false}, {48, 1}),
                             at({0, 0, 0, 6, false}, {48, 1})});
    CHECK(choices[0].number == 116);
    CHECK(choices[1].number == 116);
    CHECK(choices[2].number == 117);
    REQUIRE(panorama.warnings().size() == 1);
    CHECK_THAT(panorama.warnings()[0], Contains("48") && Contains("24"));
}

TEST_CASE("A frame that is no panorama of the same kind, or a slipped still, is refused") {
    const Folder folder;
    const std::string pattern = acrossMidnight(folder);
    MovingPanorama panorama(pattern, {}, "", kCache, 0);
    CHECK(panorama.open(101).file().width == 64);
    test::writePanoramaFrame(io::framePath(pattern, 102), {}, 102, 128);
    CHECK_THROWS_WITH(panorama.open(102), Contains("128 x 64") && Contains("64 x 32"));
    CHECK_THROWS_WITH(MovingPanorama(io::framePath(pattern, 101), {}, "", kCache, 3),
                      Contains("--slip 3"));
    CHECK_THROWS_WITH(MovingPanorama(folder / "pano.mov", {}, "", kCache, 0),
                      Contains("numbered pictures"));
    MovingPanorama still(io::framePath(pattern, 101), {}, "", kCache, 0);
    CHECK_FALSE(still.moves());
    CHECK(still.choicesFor({at({}, {24, 1})})[0].number == 0);
    CHECK(still.open(0).file().width == 64);
}

TEST_CASE("The second whose first labels drop-frame leaves out is shown from its first frame on") {
    const Folder folder;
    ClipOnDisk clip;
    clip.rate = io::FrameRate{30000, 1001};
    clip.start = io::Timecode{0, 0, 59, 28, true};
    clip.first = 1;
    const std::string pattern = (folder / "pano.####.exr").string();
    test::writeMovingPanorama(pattern, clip, 1, 62);
    MovingPanorama panorama(pattern, {}, "", kCache, 0);
    std::vector<io::ShotFrame> shot;
    for (const int frame : {0, 1, 2, 12, 23}) shot.push_back(at({0, 1, 0, frame, false}, {24, 1}));
    shot.push_back(at({0, 1, 1, 0, false}, {24, 1}));
    const auto choices = panorama.choicesFor(shot);
    // Frames 1 and 2 are 00:00:59;28 and ;29, frame 3 is 00:01:00;02, and 31 is 00:01:01;00.
    CHECK(choices[0].number == 3);
    CHECK(choices[1].number == 4);
    CHECK(choices[2].number == 5);
    CHECK(choices[3].number == 17);
    CHECK(choices[4].number == 29);
    CHECK(choices[5].number == 31);
}
