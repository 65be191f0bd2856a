// What clips cost: a movie's frames one after the other with the reader that is kept, and with one
// opened for each; a moment of a take, whatever its length; a glance at a frame beside reading it.
#include <chrono>
#include <cstdio>
#include <functional>

#include "io/clip.h"
#include "io/frame_glance.h"
#include "stitch/clips/take.h"
#include "tests/clips_on_disk.h"
#include "tests/program.h"

using namespace plateloom;

namespace {

double secondsOf(const std::function<void()>& work) {
    const auto begin = std::chrono::steady_clock::now();
    work();
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
}

void movie(const std::filesystem::path& folder, int frames) {
    constexpr int kWidth = 1280, kHeight = 720;
    const auto path = folder / ("movie" + std::to_string(frames) + ".avi");
    test::writeMovie(path, kWidth, kHeight, frames, {24, 1}, "01:00:00:00", test::movieCode);
    const io::Clip clip = io::findClips({path.string()}, {}, "").clips.front();
    const double kept = secondsOf([&] {
        for (int frame = 1; frame <= frames; ++frame) (void)io::readPlatePixels(clip.frame(frame));
    });
    const double skipping = secondsOf([&] {
        for (int frame = 1; frame <= frames; frame += 4)
            (void)io::readPlatePixels(clip.frame(frame));
    });
    // From the last to the first no reader stands before its frame.
    const double anew = secondsOf([&] {
        for (int frame = frames; frame >= 1; --frame) (void)io::readPlatePixels(clip.frame(frame));
    });
    std::printf(
        "movie %dx%d, %4d frames: one after the other %6.1f ms a frame, every fourth %6.1f, "
        "opened for each %6.1f\n",
        kWidth, kHeight, frames, 1e3 * kept / frames, 4e3 * skipping / frames, 1e3 * anew / frames);
}

void moments(const std::filesystem::path& folder, int frames) {
    for (const char* name : {"a", "b", "c", "d", "e"})
        test::writeClip(folder / std::to_string(frames), name, {}, 1001, 1000 + frames);
    stitch::TakeArguments arguments;
    arguments.plates.plates = {(folder / std::to_string(frames)).string()};
    arguments.plates.focal_mm = 28;
    arguments.plates.sensor_width_mm = 36;
    stitch::Take take;
    const double gathered = secondsOf([&] { take = stitch::gatherTake(arguments); });
    constexpr int kMoments = 40;
    const double asked = secondsOf([&] {
        for (int k = 0; k < kMoments; ++k) (void)take.at(1001 + k * (frames - 1) / (kMoments - 1));
    });
    std::printf("take of 5 clips, %4d frames: gathered in %6.1f ms, a moment in %5.2f ms\n", frames,
                1e3 * gathered, 1e3 * asked / kMoments);
}

void glances(const std::filesystem::path& folder) {
    test::ClipOnDisk clip;
    clip.width = 2048;
    clip.height = 1152;
    test::writeClip(folder / "large", "cam1", clip, 1001, 1024);
    const io::Clip found = io::findClips({(folder / "large").string()}, {}, "").clips.front();
    const double read = secondsOf([&] {
        for (const int64_t n : found.numbers) (void)io::readPlatePixels(found.frame(n));
    });
    const double glanced = secondsOf([&] {
        for (const int64_t n : found.numbers) (void)io::glanceAt(found.frame(n));
    });
    std::printf("frame 2048x1152: read in %5.1f ms, glanced at in %5.1f ms\n", 1e3 * read / 24,
                1e3 * glanced / 24);
}

}  // namespace

int main() {
    const test::Folder folder;
    movie(folder.path(), 24);
    movie(folder.path(), 96);
    moments(folder.path(), 48);
    moments(folder.path(), 960);
    glances(folder.path());
}
