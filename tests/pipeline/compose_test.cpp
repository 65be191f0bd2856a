// The panorama out of plates with known truth, made from a light that is a function of direction.
#include "stitch/compose.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <cstring>
#include <functional>
#include <limits>

#include "calib/pose.h"

using namespace plateloom;
using namespace plateloom::stitch;
using calib::Vector2d;
using calib::Vector3d;

namespace {

constexpr double kPi = 3.14159265358979323846;

using Light = std::function<double(const Vector3d& direction)>;

struct Job {
    std::vector<PlacedPlate> plates;
    std::vector<io::PlatePixels> pixels;

    void add(const calib::PanTiltRoll& pose, const calib::Lens& lens, const calib::Sensor& sensor,
             const Light& light, double exposure = 1, bool half = false) {
        PlacedPlate plate;
        plate.plate = int(plates.size());
        plate.lens = calib::LensMap(lens, sensor);
        plate.worldFromCamera = calib::worldFromCamera(pose);
        plate.gain.fill(float(1 / exposure));
        io::PlatePixels out;
        out.width = sensor.width_px;
        out.height = sensor.height_px;
        out.clip_level = std::numeric_limits<float>::infinity();
        for (int y = 0; y < out.height; ++y)
            for (int x = 0; x < out.width; ++x) {
                const Vector2d px(x + 0.5, y + 0.5);
                const auto ray = plate.lens.rayFromRecorded(px);
                const double value =
                    light(plate.worldFromCamera * *ray) * plate.lens.transmission(px) * exposure;
                for (const double v : {value, 0.5 * value, 2 * value, 1.0})
                    if (half)
                        out.half.push_back(io::halfFromFloat(float(v)));
                    else
                        out.full.push_back(float(v));
            }
        plates.push_back(plate);
        pixels.push_back(std::move(out));
    }

    [[nodiscard]] PlateStore store() const {
        return PlateStore([this](int plate) { return pixels[size_t(plate)]; });
    }
};

const calib::Sensor kSensor{36, 20.25, 320, 180};

calib::Lens bendingLens() {
    calib::Lens lens;
    lens.focal_mm = 24;
    lens.distortion.radial = {2e-4, 0, 1e-8, 0, 0, 0};
    lens.shading = {8e-4, 1e-7, 0};
    return lens;
}

// Three rows all round, poles included.
Job wholeSphere(const Light& light, double exposure_swing = 0) {
    Job job;
    int i = 0;
    for (const double tilt : {-45.0, 0.0, 45.0})
        for (int k = 0; k < 8; ++k) {
            const double swing = 1 + exposure_swing * std::sin(1.7 * i++);
            job.add({45.0 * k + tilt / 9 + 3, tilt, 0.5}, bendingLens(), kSensor, light, swing);
        }
    job.add({10, 90, 0}, bendingLens(), kSensor, light);
    job.add({10, -90, 0}, bendingLens(), kSensor, light);
    return job;
}

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

PanoramaGrid latlong(int width) {
    PanoramaGrid grid;
    grid.width = width;
    grid.height = width / 2;
    return grid;
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
