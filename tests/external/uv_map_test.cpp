// Our UV maps in the hands of someone else's sampler: OpenImageIO's ImageBufAlgo::st_warp.
#include "stitch/resample/uv_map.h"

#include <OpenImageIO/imagebuf.h>
#include <OpenImageIO/imagebufalgo.h>

#include <catch2/catch.hpp>
#include <cmath>

#include "tests/frames_on_disk.h"
#include "tests/program.h"

using namespace plateloom;
using calib::Vector2d;
using stitch::kNoSource;

TEST_CASE("A UV map spans 0 to 1 from the left and from the bottom, at pixel centres") {
    const stitch::MapGrid grid{-2, -1, 8, 6, 4, 4};
    const auto same = [](double x, double y) { return std::optional(Vector2d(x, y)); };
    const auto map = stitch::uvMap(grid, same, 4, 4);
    CHECK(map.at(2, 1)[0] == Approx(0.125));  // the display window's top left pixel
    CHECK(map.at(2, 1)[1] == Approx(0.875));
    CHECK(map.at(5, 4)[0] == Approx(0.875));
    CHECK(map.at(5, 4)[1] == Approx(0.125));
    CHECK(map.at(0, 0)[0] == Approx(-0.375));  // overscan goes on beyond
    CHECK(map.at(0, 0)[1] == Approx(1.125));
    CHECK(map.at(0, 0)[2] == 1);
}

TEST_CASE("Where a map has no answer it points outside every source, and is never NaN") {
    const auto half = [](double x, double y) -> std::optional<Vector2d> {
        if (x > 20.3) return std::nullopt;
        return Vector2d(x, y);
    };
    const auto map = stitch::uvMap({0, 0, 40, 40, 40, 40}, half, 40, 40);
    for (int y = 0; y < 40; ++y)
        for (int x = 0; x < 40; ++x) {
            CHECK(map.at(x, y)[2] == (x < 20 ? 1.0f : 0.0f));
            CHECK(map.at(x, y)[0] == (x < 20 ? Approx((x + 0.5) / 40) : Approx(kNoSource)));
            CHECK(std::isfinite(map.at(x, y)[1]));
        }
}

TEST_CASE("OpenImageIO's st_warp with a UV map takes the light from where the map says") {
    constexpr int kWidth = 240, kHeight = 160;
    // A light that is known everywhere, of 30 pixels a period.
    const auto light = [](double x, double y) {
        return 0.5 + 0.2 * std::sin(x * 0.21 + 0.3) + 0.2 * std::cos(y * 0.19);
    };
    OIIO::ImageBuf source(OIIO::ImageSpec(kWidth, kHeight, 1, OIIO::TypeFloat));
    for (int y = 0; y < kHeight; ++y)
        for (int x = 0; x < kWidth; ++x) {
            const float value = float(light(x + 0.5, y + 0.5));
            source.setpixel(x, y, &value);
        }
    const auto bent = [](double x, double y) {
        return std::optional(Vector2d(120 + (x - 100) * 0.98 + 3e-4 * (y - 70) * (y - 70),
                                      80 + (y - 70) * 1.01 + 2e-4 * (x - 100) * (y - 70)));
    };
    const stitch::MapGrid grid{0, 0, 200, 140, 200, 140};
    auto map = stitch::uvMap(grid, bent, kWidth, kHeight);
    OIIO::ImageBuf st(OIIO::ImageSpec(grid.width, grid.height, 3, OIIO::TypeFloat),
                      map.data.data());
    OIIO::ImageBuf warped;
    REQUIRE(OIIO::ImageBufAlgo::st_warp(warped, source, st, "lanczos3", 0.0f, 0, 1, false, true));
    double worst = 0;
    int count = 0;
    for (int y = 0; y < grid.height; ++y)
        for (int x = 0; x < grid.width; ++x) {
            const Vector2d from = *bent(x + 0.5, y + 0.5);
            if (from.x() < 8 || from.y() < 8 || from.x() > kWidth - 8 || from.y() > kHeight - 8)
                continue;
            worst = std::max(worst,
                             std::abs(warped.getchannel(x, y, 0, 0) - light(from.x(), from.y())));
            ++count;
        }
    CHECK(count > 20000);
    // Half a pixel of shift would be 0.02 of light.
    CHECK(worst < 0.004);
}

TEST_CASE("st_warp with the maps that unflatten writes makes what unflatten makes") {
    using namespace plateloom::test;
    constexpr int kWidth = 480, kHeight = 270;
    const Folder folder;
    std::filesystem::create_directories(folder / "flat");
    OIIO::ImageSpec spec = rgbaSpec(kWidth, kHeight);
    spec.x = -40;
    spec.y = -30;
    spec.width += 80;
    spec.height += 60;
    // Slow enough (120 pixels a period) that the sampler's own softness stays below what is looked
    // for; a hundredth of a pixel would be 0.03 % of the light.
    writeFrame(folder / "flat/shot.1001.exr", spec, [](double x, double y, int c) {
        return c == 3 ? 1 : 1 + 0.3 * std::sin(0.052 * x + c) + 0.2 * std::cos(0.045 * y);
    });
    put(folder / "lens.csv", kTrackHead + trackLine("", 1001, 0));
    const auto made =
        run("unflatten " + quoted(folder / "flat") + " --lens " + quoted(folder / "lens.csv") +
            " -o " + quoted(folder / "look") + " --uv-map " + quoted(folder / "maps"));
    INFO(made.err);
    REQUIRE(made.status == 0);
    const auto ours = readFrame(folder / "look/shot.1001.exr");
    const auto light = readFrame(folder / "maps/shot.unflatten-shading.1001.exr");
    const auto uv = readFrame(folder / "maps/shot.unflatten-uv.1001.exr");
    const OIIO::ImageBuf source((folder / "flat/shot.1001.exr").string());
    OIIO::ImageBuf st((folder / "maps/shot.unflatten-uv.1001.exr").string()), warped;
    REQUIRE(OIIO::ImageBufAlgo::st_warp(warped, source, st, "triangle", 0.0f, 0, 1, false, true));
    double worst = 0, worst_position = 0, worst_light = 0;
    const calib::LensMap lens(frameLens(), {36, 20.25, kWidth, kHeight});
    for (int y = 0; y < kHeight; ++y)
        for (int x = 0; x < kWidth; ++x) {
            const Vector2d px(x + 0.5, y + 0.5);
            const Vector2d at = pixelFromMm(
                lens.sensor(), *lens.flatFromRecorded_mm(mmFromPixel(lens.sensor(), px)));
            worst_position =
                std::max(worst_position, std::hypot(uv.at(x, y, 0) * kWidth - at.x(),
                                                    (1 - uv.at(x, y, 1)) * kHeight - at.y()));
            worst_light =
                std::max(worst_light, std::abs(light.at(x, y, 0) / lens.transmission(px) - 1));
            for (int c = 0; c < 3; ++c) {
                const double theirs = warped.getchannel(x, y, 0, c) * light.at(x, y, c);
                worst = std::max(worst, std::abs(theirs / ours.at(x, y, c) - 1));
            }
        }
    INFO("st_warp beside unflatten: relative difference "
         << worst << ", positions " << worst_position << " px, shading " << worst_light);
    CHECK(worst < 1e-3);
    CHECK(worst_position < 0.01);  // pixels
    CHECK(worst_light < 5e-4);
}
