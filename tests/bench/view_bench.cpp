// Views of 4096 x 2160 out of a panorama 16384 wide, beside writing them, cv::remap with Lanczos4
// and OpenImageIO's st_warp from the same positions, in one run. Accuracy beside speed, on waves of
// 11 panorama pixels whose light is known everywhere.
#include <OpenImageIO/imagebuf.h>
#include <OpenImageIO/imagebufalgo.h>
#include <sys/resource.h>

#include <chrono>
#include <cmath>
#include <cstdio>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "calib/angle.h"
#include "calib/pose.h"
#include "io/panorama_file.h"
#include "stitch/resample/uv_map.h"
#include "stitch/view/view.h"
#include "tests/program.h"

using namespace plateloom;

namespace {

constexpr int kWidth = 16384, kHeight = kWidth / 2;
constexpr int kViewWidth = 4096, kViewHeight = 2160;
constexpr int kRoundTurn = 1489;  // waves: 11.003 pixels each
constexpr size_t kCache = size_t(512) << 20;

double light(double x, double y) {
    const double w = 2 * calib::kPi * kRoundTurn / kWidth;
    return 0.5 + 0.2 * std::sin(w * x + 0.3) + 0.2 * std::sin(w * y + 1.1);
}

void writeWorld(const std::filesystem::path& path) {
    io::PictureTags tags;
    tags.latlong = true;
    constexpr int kBand = 256;
    io::PanoramaWriter writer(path, {kWidth, kHeight, kBand, true, true}, tags);
    io::Picture band(kWidth, kBand, 4, 1.0f);
    std::vector<double> across(kWidth);
    for (int x = 0; x < kWidth; ++x) across[size_t(x)] = light(x + 0.5, 0) - light(0, 0);
    for (int y0 = 0; y0 < kHeight; y0 += kBand) {
        for (int y = 0; y < kBand; ++y) {
            const double down = light(0, y0 + y + 0.5);
            for (int x = 0; x < kWidth; ++x)
                std::fill_n(band.at(x, y), 3, float(down + across[size_t(x)]));
        }
        writer.write(0, y0, band);
    }
    writer.finish();
}

stitch::ViewCamera camera(double pan_deg) {
    calib::Lens lens;
    lens.focal_mm = 22.6;  // one view pixel is one panorama pixel on the axis
    lens.distortion.radial = {1.2e-4, 0, -8e-8, 0, 0, 0};
    lens.shading = {3e-4, 1e-7, 0};
    return {calib::LensMap(lens, {36, 36.0 * kViewHeight / kViewWidth, kViewWidth, kViewHeight}),
            calib::worldFromCamera({pan_deg, 8, 2})};
}

class Stopwatch {
public:
    [[nodiscard]] double seconds() const {
        return std::chrono::duration<double>(std::chrono::steady_clock::now() - start_).count();
    }

private:
    std::chrono::steady_clock::time_point start_ = std::chrono::steady_clock::now();
};

template <class Value>
double error_dB(const stitch::PanoramaGrid& grid, const stitch::ViewCamera& seen,
                const Value& value) {
    double error = 0, power = 0;
    for (int y = 16; y < kViewHeight - 16; y += 3)
        for (int x = 16; x < kViewWidth - 16; x += 3) {
            const auto px =
                grid.pixelOf(*directionOf(seen, stitch::Look::lens, {x + 0.5, y + 0.5}));
            const double truth = light(px.x(), px.y()), off = value(x, y) - truth;
            error += off * off;
            power += (truth - 0.5) * (truth - 0.5);
        }
    return 10 * std::log10(error / power);
}

void print(const char* what, double s, double reference_s, double error = NAN) {
    const double mpix = 1e-6 * kViewWidth * kViewHeight;
    std::printf("%-44s %6.2f s %7.1f Mpix/s  x%5.2f", what, s, mpix / s, reference_s / s);
    if (std::isfinite(error)) std::printf("  %7.1f dB", error);
    std::printf("\n");
}

double memory_MiB() {
    rusage usage{};
    getrusage(RUSAGE_SELF, &usage);
    return double(usage.ru_maxrss) / 1024;
}

}  // namespace

int main() {
    const test::Folder folder;
    const auto path = folder / "world.exr";
    writeWorld(path);
    const io::PanoramaReader panorama(path, "", kCache);
    const stitch::PanoramaGrid grid = stitch::gridOf(panorama.file(), {});
    const auto bounds = stitch::PixelBounds{0, 0, kViewWidth, kViewHeight};
    const auto seen = camera(30);
    const double before_MiB = memory_MiB();

    const Stopwatch cold;
    stitch::View view = renderView(panorama, grid, seen, stitch::Look::lens, bounds);
    const double cold_s = cold.seconds();
    const Stopwatch warm;
    view = renderView(panorama, grid, seen, stitch::Look::lens, bounds);
    const double warm_s = warm.seconds();
    const Stopwatch writing;
    io::writePicture(folder / "view.exr", view.picture, {}, true, {0, 0, kViewWidth, kViewHeight});
    const double write_s = writing.seconds();
    const double ours_dB = error_dB(grid, seen, [&](int x, int y) {
        return view.picture.at(x, y)[1] / seen.lens.transmission({x + 0.5, y + 0.5});
    });
    std::printf("%d x %d view of a %d x %d half panorama; peak memory %.0f MiB (%.0f before)\n",
                kViewWidth, kViewHeight, kWidth, kHeight, memory_MiB(), before_MiB);
    std::printf("%-44s %8s %14s %7s %10s\n", "", "time", "", "write /", "error");
    print("writing the view, half EXR", write_s, write_s);
    print("view, panorama read from disk", cold_s, write_s, ours_dB);
    print("view, panorama in the cache", warm_s, write_s, ours_dB);

    // The others get all positions, and the part of the panorama as float in memory, for nothing.
    const auto map = stitch::uvMap(
        {0, 0, kViewWidth, kViewHeight, kViewWidth, kViewHeight},
        [&](double x, double y) -> std::optional<calib::Vector2d> {
            return grid.pixelOf(*directionOf(seen, stitch::Look::lens, {x, y}));
        },
        kWidth, kHeight);
    io::PlatePixels half;
    const int x0 = 3000, y0 = 2000, width = 8000, height = 4000;
    panorama.read(x0, y0, width, height, false, half);
    cv::Mat part(height, width, CV_32FC4);
    for (size_t i = 0; i < half.half.size(); ++i)
        part.ptr<float>()[i] = io::floatFromHalf(half.half[i]);
    half = {};
    cv::Mat positions(kViewHeight, kViewWidth, CV_32FC2);
    for (int y = 0; y < kViewHeight; ++y)
        for (int x = 0; x < kViewWidth; ++x)
            positions.at<cv::Vec2f>(y, x) = {map.at(x, y)[0] * kWidth - 0.5f - x0,
                                             (1 - map.at(x, y)[1]) * kHeight - 0.5f - y0};
    cv::Mat remapped;
    const Stopwatch remapping;
    cv::remap(part, remapped, positions, cv::noArray(), cv::INTER_LANCZOS4);
    const double remap_s = remapping.seconds();
    print("cv::remap Lanczos4, positions given", remap_s, write_s,
          error_dB(grid, seen, [&](int x, int y) { return remapped.at<cv::Vec4f>(y, x)[1]; }));

    io::Picture local = map;
    for (int y = 0; y < kViewHeight; ++y)
        for (int x = 0; x < kViewWidth; ++x) {
            local.at(x, y)[0] = (positions.at<cv::Vec2f>(y, x)[0] + 0.5f) / float(width);
            local.at(x, y)[1] = 1 - (positions.at<cv::Vec2f>(y, x)[1] + 0.5f) / float(height);
        }
    const OIIO::ImageBuf source(OIIO::ImageSpec(width, height, 4, OIIO::TypeFloat),
                                part.ptr<float>());
    const OIIO::ImageBuf st(
        OIIO::ImageSpec(kViewWidth, kViewHeight, local.channels, OIIO::TypeFloat),
        local.data.data());
    for (const char* filter : {"catmull-rom", "lanczos3"}) {
        OIIO::ImageBuf warped;
        const Stopwatch warping;
        OIIO::ImageBufAlgo::st_warp(warped, source, st, filter, 0.0f, 0, 1, false, true);
        const double warp_s = warping.seconds();
        print((std::string("st_warp ") + filter + ", positions given").c_str(), warp_s, write_s,
              error_dB(grid, seen, [&](int x, int y) { return warped.getchannel(x, y, 0, 1); }));
    }
    return 0;
}
