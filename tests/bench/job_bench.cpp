// The main job beside OpenCV's Stitcher on the same plates, flattened for it (8-bit sRGB, which is
// all it takes), in one run. Each job runs in a process of its own, so that the peaks of memory are
// its own.
//
//     job_bench SHOOT [WIDTH]       SHOOT: a folder of plates with lens.jsonl, e.g. from
//     render_shoot
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <functional>
#include <opencv2/stitching.hpp>

#include "io/colour.h"
#include "stitch/compose/stitch_job.h"
#include "stitch/flatten/flatten.h"

using namespace plateloom;
namespace fs = std::filesystem;

namespace {

double secondsOf(const std::function<void()>& work) {
    const auto started = std::chrono::steady_clock::now();
    work();
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - started).count();
}

// Runs `work` in a child and says what it cost.
void measured(const char* name, const std::function<void()>& work) {
    std::fflush(stdout);
    const pid_t child = fork();
    if (child == 0) {
        const double seconds = secondsOf(work);
        std::printf("  %-28s %7.1f s in all\n", name, seconds);
        std::fflush(stdout);
        _exit(0);
    }
    int status = 0;
    rusage usage{};
    wait4(child, &status, 0, &usage);
    std::printf("  %-28s %7.2f GiB peak, %.1f s of processor\n", name,
                double(usage.ru_maxrss) / (1 << 20),
                double(usage.ru_utime.tv_sec + usage.ru_stime.tv_sec));
}

void ourJob(const fs::path& shoot, int width) {
    stitch::StitchRequest request;
    request.solve.plates.plates = {shoot.string()};
    request.solve.plates.lens_tracks = {shoot / "lens.jsonl"};
    request.output = fs::temp_directory_path() / "plateloom job bench.exr";
    request.width = width;
    const auto result = stitch::stitchJob(request, [](const std::string&, double) {});
    for (const auto& stage : result.solve.times)
        std::printf("    %-10s %7.2f s %8.1f Mpix/s\n", stage.stage.c_str(), stage.seconds,
                    stage.seconds > 0 ? 1e-6 * stage.pixels / stage.seconds : 0.0);
    const auto placed = std::count_if(result.solve.plates.begin(), result.solve.plates.end(),
                                      [](const auto& p) { return p.placed; });
    std::printf("    %td of %zu plates placed, %dx%d\n", placed, result.solve.plates.size(),
                result.grid.width, result.grid.height);
    fs::remove(request.output);
}

cv::Mat forEyes(const stitch::FlatPlate& flat) {
    cv::Mat bytes(flat.picture.height, flat.picture.width, CV_8UC3);
    for (int y = 0; y < bytes.rows; ++y)
        for (int x = 0; x < bytes.cols; ++x)
            for (int c = 0; c < 3; ++c)
                bytes.at<cv::Vec3b>(y, x)[2 - c] = cv::saturate_cast<uchar>(
                    255 * io::displayFromLinear(flat.picture.at(x, y)[c], 4));
    return bytes;
}

void stitcherJob(const fs::path& shoot) {
    stitch::PlateArguments arguments;
    arguments.plates = {shoot.string()};
    arguments.lens_tracks = {shoot / "lens.jsonl"};
    const auto set = stitch::gatherPlates(arguments);
    std::vector<cv::Mat> flat;
    const double flattening = secondsOf([&] {
        for (const auto& plate : set.plates) {
            bool clamped = false;
            flat.push_back(forEyes(stitch::flattenPlate(io::readPlatePixels(plate.file),
                                                        calib::LensMap(plate.lens, plate.sensor),
                                                        stitch::Fit::inside, &clamped)));
        }
    });
    std::printf("    (reading and flattening for it: %.1f s)\n", flattening);
    const auto stitcher = cv::Stitcher::create(cv::Stitcher::PANORAMA);
    cv::Mat panorama;
    cv::Stitcher::Status status{};
    const double matching = secondsOf([&] { status = stitcher->estimateTransform(flat); });
    std::printf("    register   %7.2f s\n", matching);
    if (status != cv::Stitcher::OK) {
        std::printf("    it gave up: status %d\n", int(status));
        return;
    }
    const double composing = secondsOf([&] { status = stitcher->composePanorama(panorama); });
    std::printf("    compose    %7.2f s, %zu of %zu plates placed, %dx%d in 8 bits\n", composing,
                stitcher->component().size(), flat.size(), panorama.cols, panorama.rows);
}

}  // namespace

int main(int argc, char** argv) {
    if (argc < 2) {
        std::fprintf(stderr, "usage: job_bench SHOOT [WIDTH]\n");
        return 2;
    }
    const fs::path shoot = argv[1];
    const int width = argc > 2 ? std::atoi(argv[2]) : 8192;
    std::printf("plateloom\n");
    measured("plateloom", [&] { ourJob(shoot, width); });
    std::printf("cv::Stitcher, its defaults, on the same plates flattened\n");
    measured("cv::Stitcher", [&] { stitcherJob(shoot); });
}
