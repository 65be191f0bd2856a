// Lamps through the whole of it: panorama, view, flat plate and back. Energy is excess over the
// surroundings times solid angle, summed, against that of what was filtered.
#include <unistd.h>

#include <Eigen/Geometry>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstring>
#include <random>

#include "stitch/compose/compose.h"
#include "stitch/flatten/flatten.h"
#include "stitch/view/view.h"
#include "tests/painted_panorama.h"
#include "tests/painted_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;
using namespace plateloom::painted;

namespace {

constexpr double kPi = 3.14159265358979323846;
// Lamps of these sides in a row, far enough apart for their surroundings.
constexpr int kSides[] = {1, 2, 4, 8, 16};

struct Lamp {
    int x0, y0, side;
    // Beyond its edge, along the axis that is farther; below 0 within.
    [[nodiscard]] double distance(double x, double y) const {
        const double dx = std::abs(x - x0 - 0.5 * side), dy = std::abs(y - y0 - 0.5 * side);
        return std::max(dx, dy) - 0.5 * side;
    }
};

std::vector<Lamp> lampsAcross(int width, int height) {
    std::vector<Lamp> lamps;
    for (size_t i = 0; i < std::size(kSides); ++i)
        lamps.push_back({int(width * (i + 1) / 6), height / 2 - 5, kSides[i]});
    return lamps;
}

// Which of them is nearest.
size_t nearestLamp(const std::vector<Lamp>& lamps, double x, double y) {
    size_t nearest = 0;
    for (size_t i = 1; i < lamps.size(); ++i)
        if (lamps[i].distance(x, y) < lamps[nearest].distance(x, y)) nearest = i;
    return nearest;
}

// Solid angle of a pixel from the rays through its sides.
template <class RayOf>
double solidAngle(const RayOf& ray, double x, double y) {
    const Vector3d across = ray(x + 0.5, y) - ray(x - 0.5, y);
    const Vector3d down = ray(x, y + 0.5) - ray(x, y - 0.5);
    return across.cross(down).norm();
}

io::Picture panoramaOf(const Job& job, const PanoramaGrid& grid) {
    io::Picture panorama(grid.width, grid.height, 4);
    PlateStore store = job.store();
    ComposeSettings settings;
    settings.grid = grid;
    const auto sink = [&](int x, int y, const io::Picture& tile) {
        for (int j = 0; j < tile.height; ++j)
            std::memcpy(panorama.at(x, y + j), tile.at(0, j),
                        size_t(tile.width) * 4 * sizeof(float));
    };
    (void)compose(job.plates, store, settings, sink, [](const std::string&, double) {});
    return panorama;
}

// What a filter made of the lamps.
struct Found {
    std::vector<double> energy = std::vector<double>(std::size(kSides));
    double low = 1, high = 1;  // of the surroundings

    void include(const std::vector<Lamp>& lamps, double x, double y, double scale, double value,
                 double weight) {
        const size_t i = nearestLamp(lamps, x, y);
        if (lamps[i].distance(x, y) > 24 * std::max(1.0, scale)) return;
        energy[i] += (value - 1) * weight;
        if (lamps[i].distance(x, y) < 2 * std::max(1.0, scale)) return;
        low = std::min(low, value);
        high = std::max(high, value);
    }
    void check(const std::vector<double>& truth) const {
        for (size_t i = 0; i < truth.size(); ++i) {
            CAPTURE(kSides[i]);
            CHECK(energy[i] == Approx(truth[i]).epsilon(kSides[i] == 1 ? 0.03 : 0.02));
        }
        CHECK(low > 0.98);
        CHECK(high < 1.02);
    }
};

calib::Vector3d recordedRay(const PlacedPlate& plate, double x, double y) {
    return plate.lens.rayFromRecorded({x, y})->normalized();
}

}  // namespace

TEST_CASE("A panorama keeps the energy of lamps from a quarter of native width to twice",
          "[lamp]") {
    const double share = GENERATE(0.25, 0.6, 1.0, 2.0);
    const double contrast = GENERATE(10.0, 1e5);
    const double pan_deg = 0.137 * share;  // no two at the same phase
    CAPTURE(share, contrast);
    const calib::Sensor sensor{36, 20.25, 640, 240};
    Job job;
    job.add({pan_deg, 3 * pan_deg, 0}, bendingLens(), sensor, [](const Vector3d&) { return 1.0; });
    const PlacedPlate& plate = job.plates[0];
    const auto lamps = lampsAcross(sensor.width_px, sensor.height_px);
    std::vector<double> truth(lamps.size());
    for (size_t i = 0; i < lamps.size(); ++i)
        for (int y = lamps[i].y0; y < lamps[i].y0 + lamps[i].side; ++y)
            for (int x = lamps[i].x0; x < lamps[i].x0 + lamps[i].side; ++x) {
                float* rgba = &job.pixels[0].full[(size_t(y) * size_t(sensor.width_px) + x) * 4];
                for (int c = 0; c < 3; ++c) rgba[c] *= float(contrast);
                const auto ray = [&](double u, double v) { return recordedRay(plate, u, v); };
                truth[i] += (contrast - 1) * solidAngle(ray, x + 0.5, y + 0.5);
            }
    const double native = 2 * kPi * 24 / 36 * sensor.width_px;
    const PanoramaGrid grid = latlong(int(std::lround(native * share / 16)) * 16);
    const auto panorama = panoramaOf(job, grid);
    Found found;
    for (int y = 0; y < grid.height; ++y)
        for (int x = 0; x < grid.width; ++x) {
            if (panorama.at(x, y)[3] == 0) continue;
            const auto ray = [&](double u, double v) { return grid.directionAt(u, v); };
            const auto px = plate.lens.recordedFromRay(plate.worldFromCamera.transpose() *
                                                       ray(x + 0.5, y + 0.5));
            if (!px) continue;
            found.include(lamps, px->x(), px->y(), 1 / share, double(panorama.at(x, y)[0]),
                          solidAngle(ray, x + 0.5, y + 0.5));
        }
    found.check(truth);
}

TEST_CASE("A flat plate keeps the energy of lamps, and its surroundings their light", "[lamp]") {
    const double contrast = GENERATE(10.0, 1e5);
    CAPTURE(contrast);
    const calib::Sensor sensor{36, 20.25, 640, 240};
    Job job;
    job.add({0, 0, 0}, bendingLens(), sensor, [](const Vector3d&) { return 1.0; });
    const PlacedPlate& plate = job.plates[0];
    const auto lamps = lampsAcross(sensor.width_px, sensor.height_px);
    std::vector<double> truth(lamps.size());
    const auto recorded = [&](double u, double v) { return recordedRay(plate, u, v); };
    for (size_t i = 0; i < lamps.size(); ++i)
        for (int y = lamps[i].y0; y < lamps[i].y0 + lamps[i].side; ++y)
            for (int x = lamps[i].x0; x < lamps[i].x0 + lamps[i].side; ++x) {
                float* rgba = &job.pixels[0].full[(size_t(y) * size_t(sensor.width_px) + x) * 4];
                for (int c = 0; c < 3; ++c) rgba[c] *= float(contrast);
                truth[i] += (contrast - 1) * solidAngle(recorded, x + 0.5, y + 0.5);
            }
    const auto flat = flattenPlate(job.pixels[0], plate.lens, Fit::overscan, nullptr);
    const auto bounds = flatBounds(plate.lens, Fit::overscan, nullptr);
    ViewCamera camera{plate.lens, calib::worldFromCamera({0, 0, 0})};
    const auto ray = [&](double u, double v) {
        return *directionOf(camera, Look::flat, {u + bounds.x0, v + bounds.y0});
    };
    Found found;
    for (int y = 0; y < flat.picture.height; ++y)
        for (int x = 0; x < flat.picture.width; ++x) {
            const float* rgba = flat.picture.at(x, y);
            if (rgba[3] == 0) continue;
            const auto px = plate.lens.recordedFromRay(camera.worldFromCamera.transpose() *
                                                       ray(x + 0.5, y + 0.5));
            if (!px) continue;
            found.include(lamps, px->x(), px->y(), 1, double(rgba[0] / rgba[3]),
                          solidAngle(ray, x + 0.5, y + 0.5));
        }
    found.check(truth);
}

TEST_CASE("A view keeps the energy of a panorama's lamps at any focal length", "[lamp]") {
    const double focal_mm = GENERATE(9.0, 18.0, 36.0);  // about a half, one and two of native
    const double contrast = GENERATE(10.0, 50000.0);
    CAPTURE(focal_mm, contrast);
    PanoramaGrid grid = latlong(2048);
    // 300 panorama pixels about its middle hold the lamps.
    std::vector<Lamp> lamps = lampsAcross(300, 160);
    for (Lamp& lamp : lamps) {
        lamp.x0 += grid.width / 2 - 150;
        lamp.y0 += grid.height / 2 - 80;
    }
    const auto ray = [&](double u, double v) { return grid.directionAt(u, v); };
    std::vector<double> truth(lamps.size());
    const auto path = std::filesystem::temp_directory_path() /
                      ("plateloom lamps " + std::to_string(::getpid()) + ".exr");
    writePanorama(path, grid, {}, [&](int x, int y, const Vector3d&, float* rgba) {
        const size_t i = nearestLamp(lamps, x + 0.5, y + 0.5);
        const bool lit = lamps[i].distance(x + 0.5, y + 0.5) < 0;
        for (int c = 0; c < 3; ++c) rgba[c] = lit ? float(contrast) : 1.0f;
        if (lit) truth[i] += (contrast - 1) * solidAngle(ray, x + 0.5, y + 0.5);
    });
    calib::Lens lens;
    lens.focal_mm = focal_mm;
    const ViewCamera camera{calib::LensMap(lens, {36, 20.25, 640, 360}),
                            calib::worldFromCamera({0, 0, 0})};
    const PixelBounds bounds{0, 0, 640, 360};
    const io::PanoramaReader reader(path, "", size_t(64) << 20);
    const View view = renderView(reader, grid, camera, Look::flat, bounds);
    std::filesystem::remove(path);
    const auto view_ray = [&](double u, double v) {
        return *directionOf(camera, Look::flat, {u, v});
    };
    const double scale = grid.pixelsPerRadian() / (focal_mm / 36 * 640);
    Found found;
    for (int y = 0; y < 360; ++y)
        for (int x = 0; x < 640; ++x) {
            const auto at = grid.pixelOf(view_ray(x + 0.5, y + 0.5));
            found.include(lamps, at.x(), at.y(), scale, double(view.picture.at(x, y)[0]),
                          solidAngle(view_ray, x + 0.5, y + 0.5));
        }
    found.check(truth);
}

TEST_CASE("Blacks with noise beside lamps come out no darker than the noise", "[lamp]") {
    const double share = GENERATE(0.3, 1.0);
    const calib::Sensor sensor{36, 20.25, 640, 240};
    Job job;
    job.add({0.05, 0, 0}, bendingLens(), sensor, [](const Vector3d&) { return 1.0; });
    std::mt19937 dice(11);
    std::normal_distribution<float> black(0.002f, 0.004f);
    const auto lamps = lampsAcross(sensor.width_px, sensor.height_px);
    float darkest = 1;
    for (int y = 0; y < sensor.height_px; ++y)
        for (int x = 0; x < sensor.width_px; ++x) {
            const auto& lamp = lamps[nearestLamp(lamps, x + 0.5, y + 0.5)];
            const bool lit = lamp.distance(x + 0.5, y + 0.5) < 0;
            float* rgba = &job.pixels[0].full[(size_t(y) * size_t(sensor.width_px) + x) * 4];
            for (int c = 0; c < 3; ++c) {
                rgba[c] = lit ? 400.0f : black(dice);
                darkest = std::min(darkest, rgba[c]);
            }
        }
    const double native = 2 * kPi * 24 / 36 * sensor.width_px;
    const auto panorama = panoramaOf(job, latlong(int(std::lround(native * share / 16)) * 16));
    float least = 1;
    for (size_t i = 0; i < panorama.data.size(); i += 4)
        if (panorama.data[i + 3] > 0)
            for (size_t c = 0; c < 3; ++c) least = std::min(least, panorama.data[i + c]);
    // Shading is undone: noise is larger in the corners.
    CHECK(least > 1.5f * darkest);
}
