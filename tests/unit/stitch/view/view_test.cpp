#include "stitch/view/view.h"

#include <tbb/task_arena.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "calib/angle.h"
#include "calib/pose.h"
#include "io/input_error.h"
#include "tests/painted_panorama.h"
#include "tests/program.h"

using namespace plateloom;
using namespace plateloom::stitch;
using namespace plateloom::painted;

namespace {

constexpr size_t kCache = size_t(64) << 20;

PanoramaGrid latlongGrid(int width) {
    PanoramaGrid grid;
    grid.width = width;
    grid.height = width / 2;
    return grid;
}

// A lens that bends by a few percent, off its centre, and shades by two thirds of a stop.
calib::Lens bentLens(double focal_mm) {
    calib::Lens lens;
    lens.focal_mm = focal_mm;
    lens.distortion.radial = {2e-4, 0, -1.5e-7, 0, 0, 0};
    lens.distortion.tangential = {2e-5, -1e-5};
    lens.distortion_offset_mm = {0.2, -0.1};
    lens.projection_offset_mm = {-0.15, 0.1};
    lens.shading = {6e-4, 1e-7, 0};
    return lens;
}

ViewCamera cameraAt(const calib::PanTiltRoll& pose, const calib::Lens& lens, int width_px) {
    return {calib::LensMap(lens, {36, 20.25, width_px, width_px * 9 / 16}),
            calib::worldFromCamera(pose)};
}

struct Errors {
    double worst = 0;     // of a channel, against the true value
    double worst_px = 0;  // the error of place that would explain it, panorama pixels
    size_t uncovered = 0;
};

Errors compare(const View& view, const WaveWorld& world, const PanoramaGrid& grid,
               const ViewCamera& camera, Look look, const PixelBounds& bounds) {
    Errors errors;
    for (int y = 0; y < view.picture.height; ++y)
        for (int x = 0; x < view.picture.width; ++x) {
            const calib::Vector2d px(x + 0.5 + bounds.x0, y + 0.5 + bounds.y0);
            const float* rgba = view.picture.at(x, y);
            errors.uncovered += rgba[3] != 1;
            const auto direction = directionOf(camera, look, px);
            if (!direction) continue;
            const double share = look == Look::lens ? camera.lens.transmission(px) : 1;
            for (int c = 0; c < 3; ++c)
                errors.worst =
                    std::max(errors.worst, std::abs(rgba[c] / share - world.light(*direction, c)));
        }
    errors.worst_px = errors.worst / world.steepest() * grid.pixelsPerRadian();
    return errors;
}

}  // namespace

TEST_CASE("a view is the world through the lens, wherever the camera looks", "[view]") {
    const PanoramaGrid grid = latlongGrid(1024);
    // The shortest wave is nine panorama pixels.
    static const WaveWorld world(9 / grid.pixelsPerRadian());
    static const test::Folder folder;
    if (!std::filesystem::exists(folder / "world.exr"))
        writePanorama(folder / "world.exr", grid, {}, world);
    const io::PanoramaReader panorama(folder / "world.exr", "", kCache);
    const calib::PanTiltRoll pose =
        GENERATE(calib::PanTiltRoll{0, 0, 0}, calib::PanTiltRoll{33, 20, -7},
                 calib::PanTiltRoll{180, -15, 3}, calib::PanTiltRoll{-179.5, 40, 90},
                 calib::PanTiltRoll{70, 90, 0}, calib::PanTiltRoll{10, 83, 20},
                 calib::PanTiltRoll{-120, -88, 5});
    const Look look = GENERATE(Look::lens, Look::flat);
    CAPTURE(pose.pan_deg, pose.tilt_deg, pose.roll_deg, int(look));
    const ViewCamera camera = cameraAt(pose, bentLens(24), 160);
    const PixelBounds bounds = look == Look::flat ? overscanBounds(camera.lens, nullptr, 8)
                                                  : wholeFrame(camera.lens.sensor());
    const View view = renderView(panorama, grid, camera, look, bounds);
    const Errors errors = compare(view, world, grid, camera, look, bounds);
    CHECK(view.covered == 1);
    CHECK(errors.uncovered == 0);
    CHECK(errors.worst < 1.5e-3);
    INFO("error of place " << errors.worst_px << " px, of light " << errors.worst);
    CHECK(errors.worst_px < 0.02);
}

TEST_CASE("a view is the same from tiles and scanlines, with and without alpha and attributes",
          "[view]") {
    const PanoramaGrid grid = latlongGrid(512);
    const WaveWorld world(9 / grid.pixelsPerRadian());
    const test::Folder folder;
    const ViewCamera camera = cameraAt({170, 35, 4}, bentLens(18), 200);
    const PixelBounds bounds = wholeFrame(camera.lens.sensor());
    writePanorama(folder / "tiled.exr", grid, {64, true, true, true}, world);
    writePanorama(folder / "rows.exr", grid, {0, true, false, false}, world);
    writePanorama(folder / "rows.tif", grid, {0, false, true, false}, world);
    const io::PanoramaReader tiled(folder / "tiled.exr", "", kCache);
    const io::PanoramaReader rows(folder / "rows.exr", "", kCache);
    const io::PanoramaReader tiff(folder / "rows.tif", "", kCache);
    CHECK(tiled.file().latlong);
    CHECK_FALSE(rows.file().latlong);
    const View first = renderView(tiled, gridOf(tiled.file(), {}), camera, Look::lens, bounds);
    const View second = renderView(rows, gridOf(rows.file(), {}), camera, Look::lens, bounds);
    CHECK((first.picture.data == second.picture.data));
    const View third = renderView(tiff, gridOf(tiff.file(), {}), camera, Look::lens, bounds);
    double worst = 0;
    for (size_t i = 0; i < first.picture.data.size(); ++i)
        worst = std::max(worst, double(std::abs(first.picture.data[i] - third.picture.data[i])));
    CHECK(worst < 5e-4);  // half's own steps
}

TEST_CASE("a view is the same for any number of threads and any cache, bit for bit", "[view]") {
    const PanoramaGrid grid = latlongGrid(2048);
    const WaveWorld world(9 / grid.pixelsPerRadian());
    const test::Folder folder;
    writePanorama(folder / "world.exr", grid, {64, true, true, true}, world);
    const ViewCamera camera = cameraAt({100, 60, 10}, bentLens(20), 480);
    const PixelBounds bounds = wholeFrame(camera.lens.sensor());
    std::vector<float> first;
    for (const int threads : {1, 2, 3}) {
        const io::PanoramaReader panorama(folder / "world.exr", "",
                                          threads == 2 ? size_t(1) << 20 : kCache);
        tbb::task_arena arena(threads);
        const View view =
            arena.execute([&] { return renderView(panorama, grid, camera, Look::lens, bounds); });
        if (first.empty()) first = view.picture.data;
        CHECK((view.picture.data == first));
    }
}

TEST_CASE("a cylinder shows the same world, and nothing beyond its band", "[view]") {
    PanoramaGrid grid;
    grid.projection = Projection::cylindrical;
    grid.width = 1024;
    grid.top_tan = std::tan(30 * calib::kRadPerDeg);
    grid.bottom_tan = std::tan(-20 * calib::kRadPerDeg);
    grid.height = int(std::lround((grid.top_tan - grid.bottom_tan) * grid.pixelsPerRadian()));
    const WaveWorld world(9 / grid.pixelsPerRadian());
    const test::Folder folder;
    const std::string name = GENERATE("cylinder.exr", "cylinder.tif");
    writePanorama(folder / name, grid, {}, world);
    const io::PanoramaReader panorama(folder / name, "", kCache);
    const PanoramaGrid found = gridOf(panorama.file(), {});
    CHECK(found.projection == Projection::cylindrical);
    CHECK(found.top_tan == grid.top_tan);
    CHECK(found.bottom_tan == grid.bottom_tan);

    const ViewCamera inside = cameraAt({175, 4, 2}, bentLens(40), 160);
    const PixelBounds bounds = wholeFrame(inside.lens.sensor());
    const View view = renderView(panorama, found, inside, Look::lens, bounds);
    CHECK(view.covered == 1);
    CHECK(compare(view, world, grid, inside, Look::lens, bounds).worst < 1.5e-3);

    const ViewCamera beyond = cameraAt({20, 30, 0}, bentLens(40), 160);
    const View half = renderView(panorama, found, beyond, Look::flat, bounds);
    for (int y = 0; y < half.picture.height; ++y)
        for (int x = 0; x < half.picture.width; ++x) {
            const auto direction = directionOf(beyond, Look::flat, {x + 0.5, y + 0.5});
            const double row = grid.pixelOf(*direction).y();
            const float* rgba = half.picture.at(x, y);
            if (row < 0) {
                CHECK(rgba[3] == 0);
                CHECK(rgba[1] == 0);
            } else if (row > 1.5) {
                CHECK(rgba[3] == 1);
            }
        }
    CHECK(half.covered == Approx(0.53).margin(0.01));
}

TEST_CASE("coverage that the panorama holds comes into the view, associated", "[view]") {
    const PanoramaGrid grid = latlongGrid(512);
    const WaveWorld world(12 / grid.pixelsPerRadian());
    const test::Folder folder;
    // A hole to the right of pan 0; half covered to the left of it.
    writePanorama(folder / "holes.exr", grid, {},
                  [&](int x, int, const calib::Vector3d& direction, float* rgba) {
                      rgba[3] = x >= 256 ? 0.0f : 0.5f;
                      for (int c = 0; c < 3; ++c)
                          rgba[c] = rgba[3] * float(world.light(direction, c));
                  });
    const io::PanoramaReader panorama(folder / "holes.exr", "", kCache);
    const ViewCamera camera = cameraAt({0, 0, 0}, bentLens(30), 240);
    const PixelBounds bounds = wholeFrame(camera.lens.sensor());
    const View view = renderView(panorama, grid, camera, Look::flat, bounds);
    CHECK(view.covered == Approx(0.5).margin(0.01));
    for (int y = 0; y < 135; y += 7)
        for (int x = 0; x < 240; ++x) {
            const float* rgba = view.picture.at(x, y);
            const auto direction = directionOf(camera, Look::flat, {x + 0.5, y + 0.5});
            const double column = grid.pixelOf(*direction).x();
            CHECK(rgba[3] <= 0.5f);
            if (column > 258) {
                CHECK(rgba[3] == 0);
                CHECK(rgba[0] == 0);
            } else if (column < 250) {
                CHECK(rgba[3] == Approx(0.5).margin(1e-5));
                CHECK(rgba[1] == Approx(0.5 * world.light(*direction, 1)).margin(1e-3));
            }
        }
}

TEST_CASE("colour and alpha of a view fall together at any edge of cover", "[view][alpha]") {
    const PanoramaGrid grid = latlongGrid(512);
    const test::Folder folder;
    writePanorama(folder / "edges.exr", grid, {},
                  [&](int x, int y, const calib::Vector3d&, float* rgba) {
                      rgba[3] = (x / 9 + y / 7) % 3 == 0 ? 0.0f : float(x % 9) / 8;
                      for (int c = 0; c < 3; ++c) rgba[c] = rgba[3] * float(c + 1);
                  });
    const io::PanoramaReader panorama(folder / "edges.exr", "", kCache);
    const double focal_mm = GENERATE(30.0, 6.0);  // about as fine, and five times coarser
    const ViewCamera camera = cameraAt({0, 0, 0}, bentLens(focal_mm), 120);
    const View view =
        renderView(panorama, grid, camera, Look::flat, wholeFrame(camera.lens.sensor()));
    double worst = 0;
    for (size_t i = 0; i < view.picture.data.size(); i += 4) {
        const float* rgba = &view.picture.data[i];
        if (rgba[3] < 1e-4f) continue;
        for (int c = 0; c < 3; ++c)
            worst = std::max(worst, std::abs(double(rgba[c]) / rgba[3] / (c + 1) - 1));
    }
    CHECK(worst < 0.005);
}

TEST_CASE("a panorama's alpha of nothing but zeros says nothing, as a plate's", "[view][alpha]") {
    const PanoramaGrid grid = latlongGrid(512);
    const test::Folder folder;
    writePanorama(folder / "zero.exr", grid, {},
                  [&](int, int, const calib::Vector3d&, float* rgba) {
                      rgba[0] = rgba[1] = rgba[2] = 0.25f;
                      rgba[3] = 0;
                  });
    const io::PanoramaReader panorama(folder / "zero.exr", "", kCache);
    const ViewCamera camera = cameraAt({0, 0, 0}, bentLens(30), 120);
    const View view =
        renderView(panorama, grid, camera, Look::flat, wholeFrame(camera.lens.sensor()));
    CHECK(view.covered == 1);
    CHECK(view.picture.at(60, 30)[0] == Approx(0.25));
}

TEST_CASE("a panorama's data window leaves the rest of it uncovered", "[view]") {
    const test::Folder folder;
    // 256 x 128, of which the file holds rows 32 to 95.
    OIIO::ImageSpec spec(256, 64, 3, OIIO::TypeHalf);
    spec.y = 32;
    spec.full_width = 256;
    spec.full_height = 128;
    const std::vector<float> grey(256 * 64 * 3, 0.25f);
    auto out = OIIO::ImageOutput::create("exr");
    REQUIRE(out->open((folder / "band.exr").string(), spec));
    REQUIRE(out->write_image(OIIO::TypeFloat, grey.data()));
    REQUIRE(out->close());
    const io::PanoramaReader panorama(folder / "band.exr", "", kCache);
    const PanoramaGrid grid = gridOf(panorama.file(), {});
    const ViewCamera camera = cameraAt({50, 45, 0}, bentLens(50), 160);
    const View view =
        renderView(panorama, grid, camera, Look::flat, wholeFrame(camera.lens.sensor()));
    CHECK(view.picture.at(80, 0)[3] == 0);
    CHECK(view.picture.at(80, 89)[3] == 1);
    CHECK(view.picture.at(80, 89)[1] == Approx(0.25));
}

namespace {

// What the panorama shows at row and column becomes a view of that part of it, seen `wider` times
// wider than its grain, and cv::remap's view with Lanczos of the same.
struct Seen {
    io::Picture ours, remapped;
};

template <class Light>
Seen seeFrom(const Light& light, int panorama_width, int view_px, double wider) {
    const PanoramaGrid grid = latlongGrid(panorama_width);
    const test::Folder folder;
    writePanorama(folder / "chart.exr", grid, {}, light);
    const io::PanoramaReader panorama(folder / "chart.exr", "", kCache);
    calib::Lens lens;
    lens.focal_mm = 10;
    // On the axis one view pixel is `wider` panorama pixels.
    const double width_mm = lens.focal_mm * view_px * wider / grid.pixelsPerRadian();
    const ViewCamera camera{calib::LensMap(lens, {width_mm, width_mm, view_px, view_px}),
                            calib::worldFromCamera({0, 0, 0})};
    Seen seen;
    seen.ours = renderView(panorama, grid, camera, Look::flat, {0, 0, view_px, view_px}).picture;
    io::PlatePixels all;
    panorama.read(0, 0, grid.width, grid.height, false, all);
    const cv::Mat from(grid.height, grid.width, CV_32FC4, all.full.data());
    cv::Mat map(view_px, view_px, CV_32FC2);
    for (int y = 0; y < view_px; ++y)
        for (int x = 0; x < view_px; ++x) {
            const auto px = grid.pixelOf(*directionOf(camera, Look::flat, {x + 0.5, y + 0.5}));
            map.at<cv::Vec2f>(y, x) = {float(px.x() - 0.5), float(px.y() - 0.5)};
        }
    seen.remapped = io::Picture(view_px, view_px, 4);
    cv::Mat to(view_px, view_px, CV_32FC4, seen.remapped.data.data());
    cv::remap(from, to, map, cv::noArray(), cv::INTER_LANCZOS4);
    return seen;
}

}  // namespace

TEST_CASE("a zone plate seen four times wider than its grain does not alias", "[view]") {
    // Rings round pan 0, tilt 0 that grow finer outward: a wave of `period` pixels at radius r has
    // 2 pi / period = k r. What the view can't hold has to be gone, whatever is left is spurious.
    constexpr int kWidth = 2048, kView = 128;
    constexpr double kWider = 4;
    const PanoramaGrid grid = latlongGrid(kWidth);
    const double finest_px = 2.2, radius_px = 230;
    const double k = 2 * 3.141592653589793 / finest_px / radius_px;
    const auto seen = seeFrom(
        [&](int x, int y, const calib::Vector3d&, float* rgba) {
            const double r = std::hypot(x + 0.5 - grid.width / 2, y + 0.5 - grid.height / 2);
            const double fade = std::clamp((radius_px - r) / 10, 0.0, 1.0);
            rgba[0] = rgba[1] = rgba[2] = float(0.5 + 0.4 * fade * std::cos(0.5 * k * r * r));
        },
        kWidth, kView, kWider);
    double ours = 0, remapped = 0;
    for (int y = 0; y < kView; ++y)
        for (int x = 0; x < kView; ++x) {
            // Waves here are shorter than two view pixels, with a quarter to spare: none may show.
            const double r = kWider * std::hypot(x + 0.5 - kView / 2, y + 0.5 - kView / 2);
            const double period_px = 2 * 3.141592653589793 / (k * r);
            if (period_px > 2 * kWider / 1.25 || r > radius_px - 20) continue;
            ours += std::pow(seen.ours.at(x, y)[1] - 0.5, 2);
            remapped += std::pow(seen.remapped.at(x, y)[1] - 0.5, 2);
        }
    INFO("energy of ours over cv::remap's: " << ours / remapped);
    CHECK(remapped > 1);
    CHECK(ours < 0.01 * remapped);
}

TEST_CASE("at one to one a view keeps the contrast of waves of four pixels", "[view]") {
    // Half of the grid's limit, across and down. On the axis only: to the sides a flat view's
    // pixels grow finer.
    const double along = GENERATE(0.0, 1.5707963267948966);
    const double phase = GENERATE(0.0, 0.9);
    constexpr int kView = 32;
    const auto seen = seeFrom(
        [&](int x, int y, const calib::Vector3d&, float* rgba) {
            const double at = std::cos(along) * x + std::sin(along) * y;
            rgba[0] = rgba[1] = rgba[2] =
                float(0.5 + 0.4 * std::cos(1.5707963267948966 * at + phase));
        },
        2048, kView, 1);
    // Amplitude by projecting on the wave, which the view shows a little slower off its axis.
    const PanoramaGrid grid = latlongGrid(2048);
    double re = 0, im = 0, weight = 0;
    for (int y = 0; y < kView; ++y)
        for (int x = 0; x < kView; ++x) {
            const double from_x = std::atan((x + 0.5 - kView / 2) / grid.pixelsPerRadian());
            const double from_y = std::atan((y + 0.5 - kView / 2) / grid.pixelsPerRadian());
            const double at = along == 0 ? from_x : from_y;
            const double wave = 1.5707963267948966 * at * grid.pixelsPerRadian();
            const double value = seen.ours.at(x, y)[1] - 0.5;
            re += value * std::cos(wave);
            im += value * std::sin(wave);
            weight += 0.5;
        }
    const double contrast = std::hypot(re, im) / weight / 0.4;
    CHECK(contrast > 0.9);
    CHECK(contrast < 1.02);
}

TEST_CASE("what is no panorama is refused, what needs a word says which", "[view][faults]") {
    io::PanoramaFile file;
    file.path = "pano.exr";
    file.width = 1000;
    file.height = 400;
    CHECK_THROWS_WITH(gridOf(file, {}), Catch::Contains("not twice as wide as high"));
    PanoramaClaim cylinder{Projection::cylindrical, std::nullopt};
    CHECK_THROWS_WITH(gridOf(file, cylinder), Catch::Contains("--tilt"));
    cylinder.band = cylinderBand(-20, 30);
    CHECK(gridOf(file, cylinder).projection == Projection::cylindrical);
    CHECK_THROWS_AS(cylinderBand(-90, 10), io::InputError);
    file.height = 500;
    CHECK(gridOf(file, {}).projection == Projection::equirectangular);
}
