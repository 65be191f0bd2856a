#include "world/render.h"

#include <tbb/blocked_range.h>
#include <tbb/parallel_for.h>

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

#include "world/noise.h"
#include "world/sample_grid.h"

namespace plateloom::world {

namespace {

// How far the spread reaches beyond the picture's edge.
int margin_px(double blur_px) {
    return std::max(3, int(std::ceil(3.5 * blur_px)));
}

// Share of a unit of light at grid distance d (pixels) that falls into a pixel one wide after a
// Gaussian spread: the integral of the Gaussian over the pixel.
std::vector<float> spreadWeights(int samples, double blur_px) {
    const int reach = samples * margin_px(blur_px);
    const double sigma = std::max(blur_px, 1e-3) * std::numbers::sqrt2;
    std::vector<float> weights;
    double sum = 0;
    for (int i = -reach; i < reach + samples; ++i) {
        const double d = (i + 0.5) / samples - 0.5;  // from the pixel's centre
        const double w = 0.5 * (std::erf((d + 0.5) / sigma) - std::erf((d - 0.5) / sigma));
        weights.push_back(float(w));
        sum += w;
    }
    for (float& w : weights) w = float(w / sum);
    return weights;
}

// From the grid (with its margin) to plate pixels: along rows, then along columns.
io::Picture gatherPixels(const io::Picture& grid, int samples, double blur_px) {
    const std::vector<float> weights = spreadWeights(samples, blur_px);
    const int taps = int(weights.size());
    const int margin = margin_px(blur_px);
    const int width = grid.width / samples - 2 * margin;
    const int height = grid.height / samples - 2 * margin;
    io::Picture across(width, grid.height, 3), out(width, height, 3);
    tbb::parallel_for(tbb::blocked_range<int>(0, grid.height, 16), [&](const auto& rows) {
        for (int y = rows.begin(); y < rows.end(); ++y)
            for (int x = 0; x < width; ++x)
                for (int k = 0; k < taps; ++k)
                    for (int c = 0; c < 3; ++c)
                        across.at(x, y)[c] += weights[size_t(k)] * grid.at(x * samples + k, y)[c];
    });
    tbb::parallel_for(tbb::blocked_range<int>(0, height, 16), [&](const auto& rows) {
        for (int y = rows.begin(); y < rows.end(); ++y)
            for (int k = 0; k < taps; ++k) {
                const float* from = across.at(0, y * samples + k);
                float* to = out.at(0, y);
                for (int i = 0; i < width * 3; ++i) to[i] += weights[size_t(k)] * from[i];
            }
    });
    return out;
}

// A normal deviate of its own for every value: Box and Muller 1958.
float deviate(uint32_t x, uint32_t y, uint32_t seed) {
    const float u = std::max(unit(hash(x, y, seed)), 1e-7f), v = unit(hash(x, y, seed + 1));
    return std::sqrt(-2.0f * std::log(u)) * std::cos(2.0f * std::numbers::pi_v<float> * v);
}

void addNoise(io::Picture& plate, const RenderSettings& settings) {
    const float read = float(settings.read_noise * settings.read_noise);
    tbb::parallel_for(tbb::blocked_range<int>(0, plate.height, 16), [&](const auto& rows) {
        for (int y = rows.begin(); y < rows.end(); ++y)
            for (int x = 0; x < plate.width; ++x)
                for (int c = 0; c < 3; ++c) {
                    float& value = plate.at(x, y)[c];
                    const float sigma =
                        float(settings.noise) * std::sqrt(std::max(value, 0.0f) + read);
                    value += sigma * deviate(uint32_t(x), uint32_t(y),
                                             settings.seed * 8u + uint32_t(c) * 2u);
                }
    });
}

}  // namespace

io::Picture renderPlate(const Scene& scene, const calib::LensMap& lens,
                        const calib::Matrix3d& worldFromCamera, const calib::Vector3d& origin_m,
                        std::optional<double> time_s, const RenderSettings& settings) {
    assert(settings.samples >= 1);
    const int n = settings.samples, margin = margin_px(settings.blur_px);
    const calib::Sensor& sensor = lens.sensor();
    const SceneView view = scene.seenFrom(origin_m, time_s);
    const auto ray = [&](double x, double y) -> std::optional<Vector3d> {
        const auto camera = lens.rayFromRecorded({x / n - margin, y / n - margin});
        if (!camera) return std::nullopt;
        return worldFromCamera * *camera;
    };
    const RayLattice rays(ray, (sensor.width_px + 2 * margin) * n,
                          (sensor.height_px + 2 * margin) * n);
    const io::Picture grid = sampleGrid(view, rays, settings.seed);
    io::Picture plate = gatherPixels(grid, n, settings.blur_px);
    tbb::parallel_for(tbb::blocked_range<int>(0, plate.height, 16), [&](const auto& rows) {
        for (int y = rows.begin(); y < rows.end(); ++y)
            for (int x = 0; x < plate.width; ++x) {
                const double through =
                    std::max(0.0, lens.transmission({x + 0.5, y + 0.5})) * settings.exposure;
                for (int c = 0; c < 3; ++c)
                    plate.at(x, y)[c] *= float(through) * settings.balance[c];
            }
    });
    if (settings.noise > 0) addNoise(plate, settings);
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
