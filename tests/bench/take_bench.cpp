// What a frame of a moving panorama costs beside the least that it can: reading its plates and
// writing it. And what memory does as the take gets longer, and two chunks at once beside one after
// the other.
//
//     take_bench TAKE [WIDTH]      TAKE: a folder that render_array wrote; WIDTH 0: native
#include <sys/resource.h>
#include <sys/wait.h>
#include <tbb/parallel_for.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <functional>

#include "io/panorama_file.h"
#include "stitch/moving/stitch_take.h"

using namespace plateloom;
using namespace plateloom::stitch;
namespace fs = std::filesystem;

namespace {

double secondsOf(const std::function<void()>& work) {
    const auto started = std::chrono::steady_clock::now();
    work();
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - started).count();
}

void silent(const std::string&, double) {}

// This program again, doing one part of the work in a process of its own: threads do not survive a
// fork.
pid_t started(const char* self, const fs::path& take, int width, const std::string& part) {
    std::fflush(stdout);
    const pid_t child = fork();
    if (child == 0) {
        const std::string across = std::to_string(width);
        execl(self, self, take.c_str(), across.c_str(), part.c_str(), nullptr);
        _exit(127);
    }
    return child;
}

// Waits for it; its peak of memory, GiB.
double peakOf(pid_t child) {
    int status = 0;
    rusage usage{};
    wait4(child, &status, 0, &usage);
    return double(usage.ru_maxrss) / (1 << 20);
}

TakeStitchRequest requestFor(const fs::path& folder, const fs::path& out, int width) {
    TakeStitchRequest request;
    request.take.plates.plates = {folder.string()};
    for (int camera = 1; fs::exists(folder / ("cam" + std::to_string(camera) + ".jsonl")); ++camera)
        request.take.plates.lens_tracks.push_back(folder /
                                                  ("cam" + std::to_string(camera) + ".jsonl"));
    request.solve_file = out / "mount.jsonl";
    request.output = out / "pano.####.exr";
    request.width = width;
    return request;
}

// Reads every plate of the take as frames are read for composing: all of a frame at once.
double readAlone(const Take& take, int64_t first, int64_t last) {
    return secondsOf([&] {
        for (int64_t frame = first; frame <= last; ++frame) {
            const Moment moment = take.at(frame);
            tbb::parallel_for(size_t(0), moment.plates.size(),
                              [&](size_t i) { (void)io::readPlatePixels(moment.plates[i].file); });
        }
    });
}

// Writes a panorama that was made, as often as there are frames.
double writeAlone(const fs::path& made, const fs::path& out, const PanoramaGrid& grid, int times) {
    const auto pixels = io::readPlatePixels(io::readPlateHeader(made));
    io::Picture picture(pixels.width, pixels.height, 4);
    tbb::parallel_for(0, pixels.height, [&](int y) {
        for (int x = 0; x < pixels.width; ++x) pixels.read(x, y, picture.at(x, y));
    });
    return secondsOf([&] {
        for (int i = 0; i < times; ++i) {
            io::PanoramaWriter writer(out, {grid.width, grid.height, 256, true, true}, {});
            constexpr int kTile = 1024;
            for (int x = 0; x < grid.width; x += kTile)
                for (int y = 0; y < grid.height; y += kTile) {
                    io::Picture tile(std::min(kTile, grid.width - x),
                                     std::min(kTile, grid.height - y), 4);
                    for (int row = 0; row < tile.height; ++row)
                        std::copy_n(picture.at(x, y + row), size_t(tile.width) * 4,
                                    tile.at(0, row));
                    writer.write(x, y, tile);
                }
            writer.finish();
        }
    });
}

// "frames 12" composes the first 12; "chunk 1" the first half.
int runPart(TakeStitchRequest request, const Take& take, const std::string& part) {
    const int number = std::atoi(part.substr(part.find(' ') + 1).c_str());
    if (part.starts_with("chunk")) {
        request.chunk = Chunk{number, 2};
        request.output = request.output.parent_path() / "half.####.exr";
    } else {
        request.take.plates.frames = {int(take.first), int(take.first + number - 1)};
    }
    (void)stitchTake(request, silent);
    return 0;
}

}  // namespace

int main(int argc, char** argv) {
    if (argc < 2) {
        std::fprintf(stderr, "take_bench TAKE [WIDTH]\n");
        return 2;
    }
    const fs::path out = fs::temp_directory_path() / "plateloom take bench";
    // The parts, processes of their own, find what the whole has solved.
    const bool is_part = argc > 3;
    if (!is_part) fs::remove_all(out);
    fs::create_directories(out);
    auto request = requestFor(argv[1], out, argc > 2 ? std::atoi(argv[2]) : 0);
    const Take take = gatherTake(request.take);
    if (!fs::exists(request.solve_file)) {
        const auto solve = solveTake(take, {}, silent);
        writeTakeSolve(request.solve_file, take, solve);
    }
    if (is_part) return runPart(request, take, argv[3]);
    TakeStitchResult result;
    const double whole = secondsOf([&] { result = stitchTake(request, silent); });
    const double read = readAlone(take, result.first, result.last);
    const double write = writeAlone(io::framePath(request.output.string(), result.first),
                                    out / "written.exr", result.grid, result.made);
    const double frames = result.made;
    std::printf("%d frames of %dx%d\n", result.made, result.grid.width, result.grid.height);
    std::printf("  composed frame    %6.3f s\n", whole / frames);
    std::printf("  reading alone     %6.3f s\n", read / frames);
    std::printf("  writing alone     %6.3f s\n", write / frames);
    std::printf("  composed / (reading + writing)   %.2f\n", whole / (read + write));

    const auto part = [&](const std::string& what) {
        return started(argv[0], argv[1], request.width, what);
    };
    const auto peak = [&](int64_t count) {
        return peakOf(part("frames " + std::to_string(count)));
    };
    const int64_t few = std::max<int64_t>(2, take.frames() / 4);
    std::printf("  peak memory       %.2f GiB for %d frames, %.2f GiB for %d\n", peak(few),
                int(few), peak(take.frames()), int(take.frames()));

    const double in_turn = secondsOf([&] {
        (void)peakOf(part("chunk 1"));
        (void)peakOf(part("chunk 2"));
    });
    const double at_once = secondsOf([&] {
        const pid_t one = part("chunk 1"), other = part("chunk 2");
        (void)peakOf(one);
        (void)peakOf(other);
    });
    std::printf("  two chunks        one after the other %.2f s, at once %.2f s\n", in_turn,
                at_once);
    return 0;
}
