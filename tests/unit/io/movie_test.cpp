#include <OpenImageIO/imageio.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "io/clip.h"
#include "io/colour.h"
#include "io/input_error.h"
#include "io/movie_frames.h"
#include "io/movie_index.h"
#include "io/movie_reader.h"
#include "tests/clips_on_disk.h"
#include "tests/movies_in_mp4.h"
#include "tests/program.h"

using namespace plateloom;
using namespace plateloom::io;
using Catch::Contains;
using test::Folder;

namespace {

constexpr int kWidth = 64, kHeight = 36, kFrames = 24;

std::filesystem::path writtenMovie(const Folder& folder, const std::string& timecode = "") {
    const auto path = folder / "cam1.avi";
    test::writeMovie(path, kWidth, kHeight, kFrames, {24000, 1001}, timecode, test::movieCode);
    return path;
}

// Light of one pixel, by the transfer curve that a movie has.
float lightOf(int code) {
    float pixel[3] = {float(code) / 255, 0, 0};
    linearize(pixel, 1, 3, "Rec.709");
    return pixel[0];
}

void checkPixels(const PlatePixels& pixels, int frame) {
    REQUIRE(pixels.width == kWidth);
    for (const auto& [x, y] :
         {std::pair{0, 0}, std::pair{63, 0}, std::pair{10, 20}, std::pair{63, 35}}) {
        float rgba[4];
        pixels.read(x, y, rgba);
        for (int c = 0; c < 3; ++c)
            CHECK(rgba[c] == Approx(lightOf(test::movieCode(frame - 1, x, y, c))).margin(0.002));
    }
}

}  // namespace

TEST_CASE("A movie is a clip whose frames are counted from 1, at its own rate and timecode") {
    const Folder folder;
    const Clips found = findClips({writtenMovie(folder, "09:59:59:20").string()}, {}, "");
    REQUIRE(found.clips.size() == 1);
    const Clip& clip = found.clips[0];
    CHECK(clip.name == "cam1");
    CHECK(clip.movie);
    CHECK(clip.numbers.size() == size_t(kFrames));
    CHECK(clip.numbers.front() == 1);
    CHECK(clip.rate == FrameRate{24000, 1001});
    CHECK(clip.first.colour_space == "Rec.709");
    CHECK(clip.start == Timecode{9, 59, 59, 20, false});
    CHECK(clip.frame(5).timecode() == Timecode{10, 0, 0, 0, false});
    CHECK(clip.frame(5).name() == "cam1.avi frame 5");
    CHECK_THROWS_AS(clip.frame(kFrames + 1), InputError);
    const Clips some = findClips({(folder / "cam1.avi").string()}, FrameRange{3, 9}, "");
    CHECK(some.clips[0].start == Timecode{9, 59, 59, 22, false});
}

TEST_CASE("Every frame of a movie is that frame, in whatever order they are read") {
    const Folder folder;
    const Clips found = findClips({writtenMovie(folder).string()}, {}, "");
    const Clip& clip = found.clips[0];
    CHECK_FALSE(clip.start);
    for (int frame = 1; frame <= kFrames; ++frame)
        checkPixels(readPlatePixels(clip.frame(frame)), frame);
    for (const int frame : {24, 1, 13, 12, 14, 14, 2, 23})
        checkPixels(readPlatePixels(clip.frame(frame)), frame);
}

TEST_CASE("A reader is kept between frames, and another for whoever reads at the same time") {
    const Folder folder;
    const auto path = writtenMovie(folder);
    const OIIO::ImageInput* behind = nullptr;
    {
        const auto movie = movieAt(path, 4), other = movieAt(path, 9);
        behind = movie.get();
        CHECK(other.get() != behind);
    }
    // The one that stands before the frame, not the one that is past it.
    CHECK(movieAt(path, 6).get() == behind);
    CHECK(freshMovieAt(path, 7).get() != behind);
}

TEST_CASE("A movie that was changed under its name is opened anew") {
    const Folder folder;
    const auto path = writtenMovie(folder);
    const auto first = findClips({path.string()}, {}, "").clips[0];
    checkPixels(readPlatePixels(first.frame(2)), 2);
    test::writeMovie(path, kWidth, kHeight, kFrames, {24, 1}, "",
                     [](int, int, int, int) { return 200; });
    std::filesystem::last_write_time(
        path, std::filesystem::last_write_time(path) + std::chrono::seconds(5));
    float rgba[4];
    readPlatePixels(first.frame(3)).read(5, 5, rgba);
    CHECK(rgba[0] == Approx(lightOf(200)).margin(0.002));
}

TEST_CASE("A movie cut short names the frame that is not there, and never shows the one before") {
    const Folder folder;
    const auto path = writtenMovie(folder);
    const auto clip = findClips({path.string()}, {}, "").clips[0];
    std::filesystem::resize_file(path, std::filesystem::file_size(path) / 2);
    int read = 0;
    std::string said;
    for (int frame = 1; frame <= kFrames; ++frame) try {
            const auto pixels = readPlatePixels(clip.frame(frame));
            if (said.empty()) {
                checkPixels(pixels, frame);
                ++read;
            } else {
                FAIL_CHECK("frame " << frame << " of a movie that ends before it");
            }
        } catch (const InputError& error) {
            said = error.what();
        }
    CHECK(read >= kFrames / 2 - 2);
    CHECK(read < kFrames);
    CHECK_THAT(said, Contains("cam1.avi"));
}

TEST_CASE("A clip has no frames that its movie's end has lost, and says which") {
    const Folder folder;
    const auto path = writtenMovie(folder);
    REQUIRE(extentOfMovie(path, kFrames).last == kFrames);
    std::filesystem::resize_file(path, std::filesystem::file_size(path) / 2);
    const auto [counted, last] = extentOfMovie(path, kFrames);
    REQUIRE(counted == kFrames);
    CHECK(extentOfMovie(path, 5).last == 5);
    REQUIRE(last >= kFrames / 2 - 2);
    REQUIRE(last < kFrames - 1);
    const Clips found = findClips({path.string()}, {}, "");
    REQUIRE(int(found.clips[0].numbers.size()) == last);
    checkPixels(readPlatePixels(found.clips[0].frame(last)), last);
    REQUIRE(found.warnings.size() == 1);
    CHECK_THAT(found.warnings[0],
               Contains("cam1: frames " + std::to_string(last + 1) + " to " +
                        std::to_string(kFrames) + " are left out: they can't be decoded"));
}

TEST_CASE("A movie whose frames lean on later ones has all but those that its decoder holds back") {
    const Folder folder;
    const auto path = folder / "cam1.mp4";
    test::writeLeaningMovie(path);
    constexpr int kThere = test::kLeaningFrames - test::kLeaningLost;
    const auto extent = extentOfMovie(path, 1000);
    CHECK(extent.counted == test::kLeaningFrames);
    CHECK(extent.last == kThere);
    CHECK(extentOfMovie(path, kThere - 1).last == kThere - 1);

    std::vector<std::string> warnings;
    const auto frames = readPlateFrames(path, "", {}, &warnings);
    REQUIRE(int(frames.size()) == kThere);
    for (int frame = 1; frame <= kThere; ++frame) {
        float rgba[4];
        readPlatePixels(frames[size_t(frame - 1)]).read(30, 20, rgba);
        // Luma 16 to 235 (ITU-R BT.709), then the transfer curve.
        const float code = (float(40 + 12 * (frame - 1)) - 16) / 219 * 255;
        CHECK(rgba[1] == Approx(lightOf(int(std::lround(code)))).margin(0.01));
    }
    REQUIRE(warnings.size() == 1);
    CHECK_THAT(warnings[0], Contains("cam1.mp4: frames 11 to 12 are left out: they can't be"));
}

TEST_CASE("Frames asked for of a movie are there, or it says which are not and why") {
    const Folder folder;
    const auto path = folder / "cam1.mp4";
    test::writeLeaningMovie(path);
    std::vector<std::string> warnings;
    const auto some = readPlateFrames(path, "", FrameRange{3, 10}, &warnings);
    REQUIRE(some.size() == 8);
    CHECK(some.front().movie_frame == 3);
    CHECK(warnings.empty());
    CHECK_THROWS_WITH(readPlateFrames(path, "", FrameRange{3, 12}, &warnings),
                      Contains("frames 11 to 12 of --frames can't be decoded"));
    CHECK_THROWS_WITH(readPlateFrames(path, "", FrameRange{12, 12}, &warnings),
                      Contains("frame 12 of --frames can't be decoded"));
    CHECK_THROWS_WITH(readPlateFrames(path, "", FrameRange{3, 13}, &warnings),
                      Contains("has frames 1 to 12, not all of --frames 3-13"));
}

TEST_CASE("A movie that ends on a picture standing still keeps its last frames") {
    const Folder folder;
    const auto path = folder / "cam1.avi";
    test::writeMovie(path, kWidth, kHeight, kFrames, {24, 1}, "",
                     [](int frame, int x, int, int) { return 20 + x + 4 * std::min(frame, 9); });
    // An AVI tells nothing of where its frames lie, so they are decoded.
    REQUIRE_FALSE(showsAllFramesCounted(path));
    CHECK(extentOfMovie(path, kFrames).last == kFrames);
}

TEST_CASE("A file's index is believed where all its frames lie in the file and are shown") {
    constexpr int kCounted = 20;
    const Folder folder;
    const auto path = folder / "cam1.mov";
    const auto put = [&](const test::Edit& edit) {
        test::put(path, test::standingMovie(kWidth, kHeight, kCounted, edit));
    };
    put({0, -1});
    CHECK(showsAllFramesCounted(path));
    CHECK(extentOfMovie(path, 100).last == kCounted);
    put({0, kCounted});
    CHECK(showsAllFramesCounted(path));

    // An edit that shows fewer: the decoder gives only those.
    put({0, 13});
    CHECK_FALSE(showsAllFramesCounted(path));
    CHECK(extentOfMovie(path, 100).counted == kCounted);
    CHECK(extentOfMovie(path, 100).last == 13);
    put({2, kCounted - 2});
    CHECK_FALSE(showsAllFramesCounted(path));

    put({0, kCounted});
    std::filesystem::resize_file(path, std::filesystem::file_size(path) - 3 * kWidth * kHeight * 3);
    CHECK_FALSE(showsAllFramesCounted(path));
    CHECK(extentOfMovie(path, 100).last < kCounted);
    CHECK(extentOfMovie(path, 100).last >= kCounted - 4);

    test::put(path, "no movie at all");
    CHECK_FALSE(showsAllFramesCounted(path));
    test::put(path, "");
    CHECK_FALSE(showsAllFramesCounted(path));
    CHECK_FALSE(showsAllFramesCounted(folder / "none.mov"));
}

TEST_CASE("What only calls itself a movie is refused") {
    const Folder folder;
    test::put(folder / "cam1.mov", "no movie at all");
    CHECK_THROWS_WITH(findClips({(folder / "cam1.mov").string()}, {}, ""),
                      Contains("can't be opened as a movie"));
}
