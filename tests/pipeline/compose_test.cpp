// The panorama out of plates with known truth, made from a light that is a function of direction.
#include "stitch/compose/compose.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <cstring>

#include "io/input_error.h"
#include "stitch/resample/warp.h"
#include "tests/painted_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;
using namespace plateloom::painted;

namespace {

constexpr double kPi = 3.14159265358979323846;

struct Result {
    io::Picture panorama;
    Composed composed;
};

Result run(const Job& job, const PanoramaGrid& grid, int tile = 1024, int threads = 0) {
    Result result;
    result.panorama = io::Picture(grid.width, grid.height, 4, -1);
    PlateStore store = job.store();
    ComposeSettings settings;
    settings.grid = grid;
    settings.tile = tile;
    settings.threads = threads;
    settings.preview_width = 256;
    const TileSink sink = [&](int x, int y, const io::Picture& picture) {
        for (int j = 0; j < picture.height; ++j)
            std::memcpy(result.panorama.at(x, y + j), picture.at(0, j),
                        size_t(picture.width) * 4 * sizeof(float));
    };
    result.composed = compose(job.plates, store, settings, sink, [](const std::string&, double) {});
    return result;
}

// Smooth light with detail in every direction.
double pattern(const Vector3d& d) {
    return 0.6 + 0.2 * std::sin(23 * d.x() + 5 * d.z()) + 0.2 * std::sin(19 * d.y() - 7 * d.z());
}

}  // namespace

TEST_CASE("A world of constant radiance comes out constant within 0.2 percent everywhere") {
    const Job job = wholeSphere([](const Vector3d&) { return 0.8; });
    const auto [panorama, composed] = run(job, latlong(1024));
    double worst = 0;
    size_t holes = 0;
    for (size_t i = 0; i < panorama.data.size(); i += 4) {
        holes += panorama.data[i + 3] != 1;
        worst = std::max(worst, std::abs(panorama.data[i] / 0.8 - 1));
    }
    CHECK(holes == 0);
    CHECK(worst < 0.0005);  // the promise is 0.002
    CHECK(composed.covered_share == Approx(1).epsilon(1e-9));
}

TEST_CASE("A smooth world comes out as it is, poles and wrap included") {
    const Job job = wholeSphere(pattern);
    const PanoramaGrid grid = latlong(1536);
    const auto panorama = run(job, grid).panorama;
    double worst = 0, sum = 0;
    for (int y = 0; y < grid.height; ++y)
        for (int x = 0; x < grid.width; ++x) {
            const double truth = pattern(grid.directionAt(x + 0.5, y + 0.5));
            const double error = std::abs(panorama.at(x, y)[0] - truth);
            worst = std::max(worst, error);
            sum += error;
        }
    CHECK(sum / (grid.width * grid.height) < 0.0005);
    CHECK(worst < 0.01);
}

TEST_CASE("A seam through a pole is blended like one at the horizon", "[pole]") {
    constexpr double kStops = 0.30;
    const auto plain = [](const Vector3d&) { return 0.5; };
    calib::Lens lens;
    lens.focal_mm = 18;  // 90 x 58.7 degrees: each plate reaches 9 degrees beyond the pole
    for (const double sign : {1.0, -1.0}) {
        Job job;
        job.add({0, 70 * sign, 0}, lens, kSensor, plain);
        job.add({180, 70 * sign, 0}, lens, kSensor, plain);
        for (const size_t plate : {0, 1})
            job.plates[plate].gain.fill(float(std::exp2(plate == 0 ? kStops / 2 : -kStops / 2)));
        const PanoramaGrid grid = latlong(2048);
        const auto panorama = run(job, grid).panorama;
        // Down one meridian, over the pole, and up the opposite one.
        const auto stops = [&](int column, int step) {
            const bool opposite = step < 0;
            const int row = opposite ? -1 - step : step;
            const int x = (column + (opposite ? grid.width / 2 : 0)) % grid.width;
            return std::log2(double(panorama.at(x, sign > 0 ? row : grid.height - 1 - row)[0]));
        };
        for (const int column : {0, 150, 340, 512, 900}) {
            double largest = 0;
            for (int step = -220; step < 220; ++step)
                largest =
                    std::max(largest, std::abs(stops(column, step + 1) - stops(column, step)));
            CAPTURE(sign, column);
            CHECK(largest < 0.02);
        }
    }
}

TEST_CASE("Any tile size and any number of threads give the same bits") {
    const Job job = wholeSphere(pattern, 0.05);
    const PanoramaGrid grid = latlong(1504);  // no multiple of the tiles
    const auto first = run(job, grid, 1024, 1);
    for (const auto& [tile, threads] : {std::pair{256, 2}, {512, 1}, {512, 2}, {1024, 2}}) {
        const auto other = run(job, grid, tile, threads);
        CHECK(std::memcmp(first.panorama.data.data(), other.panorama.data.data(),
                          first.panorama.data.size() * sizeof(float)) == 0);
        CHECK(first.composed.covered_share == other.composed.covered_share);
        CHECK(first.composed.preview.data == other.composed.preview.data);
    }
}

TEST_CASE("What no plate saw is zero, and covered_share is the solid angle that was seen") {
    Job job;
    job.add({30, 10, 0}, bendingLens(), kSensor, pattern);
    const PanoramaGrid grid = latlong(1024);
    const auto [panorama, composed] = run(job, grid);
    double seen = 0;
    for (int y = 0; y < grid.height; ++y)
        for (int x = 0; x < grid.width; ++x) {
            const Vector3d direction = grid.directionAt(x + 0.5, y + 0.5);
            const auto& plate = job.plates.front();
            const auto px =
                plate.lens.recordedFromRay(plate.worldFromCamera.transpose() * direction);
            const bool visible = px && plate.lens.inPicture(*px);
            const float* rgba = panorama.at(x, y);
            if (visible)
                seen += std::cos(kPi * (0.5 - (y + 0.5) / grid.height));
            else
                REQUIRE(std::abs(rgba[0]) + std::abs(rgba[1]) + std::abs(rgba[2]) == 0);
            REQUIRE(rgba[3] == (visible ? 1 : 0));
        }
    seen *= kPi / 2 / grid.height / grid.width;
    CHECK(composed.covered_share == Approx(seen).epsilon(1e-4));
}

TEST_CASE("Plates of different sizes, lenses and precision make one panorama") {
    Job job;
    calib::Lens pincushion;
    pincushion.focal_mm = 30;
    pincushion.distortion.direction = calib::DistortionDirection::flat_to_recorded;
    pincushion.distortion.radial = {1.5e-4, 0, 0, 0, 0, 0};
    job.add({20, 0, 0}, bendingLens(), kSensor, pattern);
    job.add({-10, 2, 3}, pincushion, {36, 24, 480, 320}, pattern, 1, true);
    PanoramaGrid grid;
    grid.projection = Projection::cylindrical;
    grid.width = 1200;
    grid.top_tan = 0.35;
    grid.bottom_tan = -0.35;
    grid.height = 134;
    const auto panorama = run(job, grid).panorama;
    double worst = 0;
    for (int y = 30; y < 104; ++y)
        for (int x = 490; x < 690; ++x) {
            REQUIRE(panorama.at(x, y)[3] == 1);
            const double truth = pattern(grid.directionAt(x + 0.5, y + 0.5));
            worst = std::max(worst, std::abs(panorama.at(x, y)[0] / truth - 1));
        }
    CHECK(worst < 0.01);
}

TEST_CASE("A difference of exposure left over passes smoothly, with no step at a seam") {
    Job job = wholeSphere([](const Vector3d&) { return 0.8; });
    for (size_t i = 0; i < job.plates.size(); ++i)
        job.plates[i].gain.fill(float(1 + 0.04 * std::sin(2.3 * double(i))));
    const PanoramaGrid grid = latlong(1024);
    const auto panorama = run(job, grid).panorama;
    double largest_step = 0;
    for (int y = 40; y < grid.height - 40; ++y)
        for (int x = 0; x < grid.width; ++x) {
            const float here = panorama.at(x, y)[0];
            const float right = panorama.at((x + 1) % grid.width, y)[0];
            const float below = panorama.at(x, y + 1)[0];
            largest_step = std::max({largest_step, double(std::abs(right / here - 1)),
                                     double(std::abs(below / here - 1))});
        }
    CHECK(largest_step < 0.008);  // the steps that are to be hidden are up to 0.08
}

TEST_CASE("nativeWidth keeps the sharpest plate's pixels, rounded up to 16") {
    Job job;
    calib::Lens lens;
    lens.focal_mm = 36.0 / (2 * kPi) * 3.0;  // 320 pixels over 36 mm: 3 x 320 / 2 pi px a radian
    job.add({0, 0, 0}, lens, kSensor, pattern);
    CHECK(nativeWidth(job.plates) == 960);
    lens.focal_mm *= 1.001;
    job.add({0, 0, 0}, lens, kSensor, pattern);
    CHECK(nativeWidth(job.plates) == 976);
}

TEST_CASE(
    "A lamp 400 times white survives within 2 percent, and nothing round it glows or darkens") {
    const Vector3d lamp = calib::worldFromCamera({23, 4, 0}).col(1);
    const double radius_rad = 0.035;
    // The lamp's edge is as soft as a lens leaves it: about a pixel.
    const auto light = [&](const Vector3d& d) {
        const double off = std::acos(std::min(1.0, d.dot(lamp))) - radius_rad;
        return 1 + 400 / (1 + std::exp(off / 0.002));
    };
    for (const bool half : {false, true}) {
        Job job;
        for (const double pan : {-20.0, 20.0, 60.0})
            job.add({pan, 0, 0}, bendingLens(), {36, 20.25, 960, 540}, light, 1 + pan / 1000, half);
        const PanoramaGrid grid = latlong(3600);
        const auto panorama = run(job, grid).panorama;
        const auto centre = grid.pixelOf(lamp);
        CHECK(panorama.at(int(centre.x()), int(centre.y()))[0] == Approx(401).epsilon(0.02));
        double least = 1e9, most = 0;
        for (int y = int(centre.y()) - 120; y < int(centre.y()) + 120; ++y)
            for (int x = int(centre.x()) - 120; x < int(centre.x()) + 120; ++x) {
                const double truth = light(grid.directionAt(x + 0.5, y + 0.5));
                if (truth > 1.01 || panorama.at(x, y)[3] == 0) continue;
                least = std::min(least, double(panorama.at(x, y)[0]));
                most = std::max(most, double(panorama.at(x, y)[0]));
            }
        CHECK(least > 0.97);
        CHECK(most < 1.05);
    }
}

TEST_CASE("What moved is shown whole or not at all") {
    // A blob where the middle of the overlap is, on one plate only.
    const Vector3d where = calib::worldFromCamera({0, -2, 0}).col(1);
    const auto blob = [&](const Vector3d& d) {
        return std::acos(std::min(1.0, d.dot(where))) < 0.06 ? 3.0 : pattern(d);
    };
    Job job;
    job.add({20, 0, 0}, bendingLens(), kSensor, pattern);
    job.add({-20, 1, 0}, bendingLens(), kSensor, blob);
    const PanoramaGrid grid = latlong(2048);
    const auto panorama = run(job, grid).panorama;
    int shown = 0, hidden = 0, between = 0;
    for (int y = 0; y < grid.height; ++y)
        for (int x = 0; x < grid.width; ++x) {
            const Vector3d direction = grid.directionAt(x + 0.5, y + 0.5);
            if (std::acos(std::min(1.0, direction.dot(where))) > 0.05) continue;
            const double value = panorama.at(x, y)[0];
            if (std::abs(value - 3) < 0.03)
                ++shown;
            else if (std::abs(value / pattern(direction) - 1) < 0.03)
                ++hidden;
            else
                ++between;
        }
    CHECK(between == 0);
    CHECK(std::min(shown, hidden) == 0);
}

TEST_CASE("Something that moves at a seam's end doesn't tint what lies round it") {
    // It reaches beyond both plates' overlap, so a seam has to cross it somewhere.
    const auto wall = [](const Vector3d&) { return 0.5; };
    const auto tram = [](const Vector3d& d) { return std::abs(d.z() + 0.05) < 0.04 ? 4.0 : 0.5; };
    Job job;
    job.add({20, 0, 0}, bendingLens(), kSensor, wall);
    job.add({-20, 0, 0}, bendingLens(), kSensor, tram);
    const PanoramaGrid grid = latlong(2048);
    const auto panorama = run(job, grid).panorama;
    double worst = 0;
    for (int y = 0; y < grid.height; ++y)
        for (int x = 0; x < grid.width; ++x) {
            const Vector3d direction = grid.directionAt(x + 0.5, y + 0.5);
            if (panorama.at(x, y)[3] == 0 || std::abs(direction.z() + 0.05) < 0.07) continue;
            worst = std::max(worst, std::abs(double(panorama.at(x, y)[0]) / 0.5 - 1));
        }
    CHECK(worst < 0.02);
}

TEST_CASE("Broken pixels on one plate are taken from another that saw the place") {
    Job job;
    for (const double pan : {8.0, -8.0}) job.add({pan, 0, 0}, bendingLens(), kSensor, pattern);
    const PanoramaGrid grid = latlong(1024);
    const Vector3d where = calib::worldFromCamera({12, 3, 0}).col(1);  // nearer to the first
    const auto px =
        job.plates[0].lens.recordedFromRay(job.plates[0].worldFromCamera.transpose() * where);
    for (int y = int(px->y()) - 3; y < int(px->y()) + 3; ++y)
        for (int x = int(px->x()) - 3; x < int(px->x()) + 3; ++x)
            for (size_t c = 0; c < 4; ++c)
                job.pixels[0].full[(size_t(y) * kSensor.width_px + size_t(x)) * 4 + c] = 0;
    const auto panorama = run(job, grid).panorama;
    const auto at = grid.pixelOf(where);
    for (int y = int(at.y()) - 12; y < int(at.y()) + 12; ++y)
        for (int x = int(at.x()) - 12; x < int(at.x()) + 12; ++x) {
            REQUIRE(panorama.at(x, y)[3] == 1);
            const double truth = pattern(grid.directionAt(x + 0.5, y + 0.5));
            CHECK(std::abs(panorama.at(x, y)[0] / truth - 1) < 0.02);
        }
}

TEST_CASE("One plate alone comes out as one warp of it, to the last bit") {
    Job job;
    job.add({-150, 20, 10}, bendingLens(), kSensor, pattern, 0.7);
    const PanoramaGrid grid = latlong(2048);
    const auto panorama = run(job, grid).panorama;
    const int step = latticeStep(grid);
    PlateStore store = job.store();
    SplitPlates plates(store, [&](int) { return largestScale(job.plates.front(), grid); });
    PlateWarp warp(job.plates.front(), plates, grid, {0, 0, grid.width / step, grid.height / step});
    std::vector<float> rgba(size_t(step) * step * 4);
    size_t compared = 0, different = 0;
    for (int cy = 0; cy < grid.height / step; ++cy)
        for (int cx = 0; cx < grid.width / step; ++cx) {
            if (!warp.cell(cx, cy, rgba.data())) continue;
            for (int k = 0; k < step * step; ++k) {
                const int x = cx * step + k % step, y = cy * step + k / step;
                // On the frame's edge a label cell may be part of the plate and part of none.
                const auto px = job.plates[0].lens.recordedFromRay(
                    job.plates[0].worldFromCamera.transpose() * grid.directionAt(x + 0.5, y + 0.5));
                if (!px || px->x() < 12 || px->y() < 12 || px->x() > kSensor.width_px - 12 ||
                    px->y() > kSensor.height_px - 12)
                    continue;
                ++compared;
                different +=
                    std::memcmp(panorama.at(x, y), &rgba[size_t(k) * 4], 4 * sizeof(float)) != 0;
            }
        }
    CHECK(compared > 30000);
    CHECK(different == 0);
}

TEST_CASE("Panoramas wider than 32,767 pixels work, across their own edge too") {
    Job job;
    for (const double pan : {170.0, -165.0}) job.add({pan, 0, 0}, bendingLens(), kSensor, pattern);
    PanoramaGrid grid;
    grid.projection = Projection::cylindrical;
    grid.width = 70000;
    grid.height = 48;
    grid.top_tan = 0.002;
    grid.bottom_tan = -0.002;
    PlateStore store = job.store();
    ComposeSettings settings;
    settings.grid = grid;
    double worst = 0;
    int64_t covered = 0;
    const auto composed = compose(
        job.plates, store, settings,
        [&](int x0, int y0, const io::Picture& tile) {
            for (int y = 0; y < tile.height; ++y)
                for (int x = 0; x < tile.width; ++x) {
                    if (tile.at(x, y)[3] == 0) continue;
                    ++covered;
                    const double truth = pattern(grid.directionAt(x0 + x + 0.5, y0 + y + 0.5));
                    worst = std::max(worst, std::abs(double(tile.at(x, y)[0]) / truth - 1));
                }
        },
        [](const std::string&, double) {});
    CHECK(worst < 0.01);
    CHECK(covered > 48 * 14000);
    CHECK(composed.covered_share == Approx(0.002 * double(covered) / 48 / 70000).epsilon(1e-3));
}

TEST_CASE("An error from a plate or from the writer ends the job and reaches the caller") {
    Job job = wholeSphere([](const Vector3d&) { return 0.8; });
    ComposeSettings settings;
    settings.grid = latlong(1024);
    settings.tile = 256;
    const auto quiet = [](const std::string&, double) {};
    const TileSink nowhere = [](int, int, const io::Picture&) {};
    PlateStore broken([&](int plate) -> io::PlatePixels {
        if (plate == 7) throw io::InputError("plate 7", "is damaged");
        return job.pixels[size_t(plate)];
    });
    CHECK_THROWS_AS(compose(job.plates, broken, settings, nowhere, quiet), io::InputError);
    PlateStore store = job.store();
    const TileSink full = [](int, int, const io::Picture&) {
        throw io::RoomError("pano.exr", "the disk is full");
    };
    CHECK_THROWS_AS(compose(job.plates, store, settings, full, quiet), io::RoomError);
}
