#include "world/render.h"

#include <tbb/blocked_range.h>
#include <tbb/parallel_for.h>

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

#include "world/point_spread.h"
#include "world/sample_grid.h"

namespace plateloom::world {

RayLattice raysOf(const calib::LensMap& lens, const calib::Matrix3d& worldFromCamera,
                  const RenderSettings& settings) {
    const int n = settings.samples, margin = spreadMargin_px(settings.blur_px);
    const calib::Sensor& sensor = lens.sensor();
    const auto ray = [&lens, worldFromCamera, n, margin](double x,
                                                         double y) -> std::optional<Vector3d> {
        const auto camera = lens.rayFromRecorded({x / n - margin, y / n - margin});
        if (!camera) return std::nullopt;
        return worldFromCamera * *camera;
    };
    return {ray, (sensor.width_px + 2 * margin) * n, (sensor.height_px + 2 * margin) * n};
}

io::Picture renderLight(const Scene& scene, const calib::LensMap& lens,
                        const calib::Matrix3d& worldFromCamera, const calib::Vector3d& origin_m,
                        std::optional<double> time_s, const RenderSettings& settings) {
    assert(settings.samples >= 1);
    const SceneView view = scene.seenFrom(origin_m, time_s);
    const RayLattice rays = raysOf(lens, worldFromCamera, settings);
    return gatherPixels(sampleGrid(view, rays, settings.seed), settings.samples, settings.blur_px);
}

void exposeLight(io::Picture& plate, const calib::LensMap& lens, const RenderSettings& settings) {
    tbb::parallel_for(tbb::blocked_range<int>(0, plate.height, 16), [&](const auto& rows) {
        for (int y = rows.begin(); y < rows.end(); ++y)
            for (int x = 0; x < plate.width; ++x) {
                const double through =
                    std::max(0.0, lens.transmission({x + 0.5, y + 0.5})) * settings.exposure;
                for (int c = 0; c < 3; ++c)
                    plate.at(x, y)[c] *= float(through) * settings.balance[c];
            }
    });
    if (settings.noise > 0) addNoise(plate, settings.noise, settings.read_noise, settings.seed);
}

io::Picture renderPlate(const Scene& scene, const calib::LensMap& lens,
                        const calib::Matrix3d& worldFromCamera, const calib::Vector3d& origin_m,
                        std::optional<double> time_s, const RenderSettings& settings) {
    io::Picture plate = renderLight(scene, lens, worldFromCamera, origin_m, time_s, settings);
    exposeLight(plate, lens, settings);
    return plate;
}

Direction latlong(int width, int height, const calib::Matrix3d& worldFromPicture) {
    return [=](double x, double y) -> calib::Vector3d {
        const double pan = std::numbers::pi * (1.0 - 2.0 * x / width);
        const double tilt = std::numbers::pi * (0.5 - y / height);
        const double level = std::cos(tilt);
        return worldFromPicture *
               Vector3d(-std::sin(pan) * level, std::cos(pan) * level, std::sin(tilt));
    };
}

io::Picture renderPanorama(const Scene& scene, const Direction& direction, int width, int height,
                           const calib::Vector3d& origin_m, std::optional<double> time_s,
                           uint32_t seed) {
    const SceneView view = scene.seenFrom(origin_m, time_s);
    constexpr int n = 2;
    const auto ray = [&](double x, double y) -> std::optional<Vector3d> {
        return direction(x / n, y / n);
    };
    const io::Picture grid = sampleGrid(view, RayLattice(ray, width * n, height * n), seed);
    io::Picture out(width, height, 3);
    tbb::parallel_for(tbb::blocked_range<int>(0, height, 16), [&](const auto& rows) {
        for (int y = rows.begin(); y < rows.end(); ++y)
            for (int x = 0; x < width; ++x)
                for (int c = 0; c < 3; ++c) {
                    float sum = 0;
                    for (int j = 0; j < n; ++j)
                        for (int i = 0; i < n; ++i) sum += grid.at(x * n + i, y * n + j)[c];
                    out.at(x, y)[c] = sum / (n * n);
                }
    });
    return out;
}

}  // namespace plateloom::world
