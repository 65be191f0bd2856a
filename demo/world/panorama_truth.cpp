// A composed panorama against the true one.
#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

#include "io/input_error.h"
#include "io/plate_file.h"
#include "world/truth.h"

namespace plateloom::world {

namespace {

bool covered(const io::Picture& panorama, int x, int y) {
    return panorama.channels < 4 || panorama.at(x, y)[3] >= 0.999f;
}

constexpr float kFloor = 0.001f;  // added to light before ratios are taken

float relativeError(float value, float real) {
    return std::abs(value - real) / (real + kFloor);
}

double percentile(std::vector<float>& values, double share) {
    if (values.empty()) return 0;
    const auto at = values.begin() + std::ptrdiff_t(share * double(values.size() - 1));
    std::nth_element(values.begin(), at, values.end());
    return *at;
}

// Covered pixels, fewer a row toward the poles so that all stand for the same solid angle.
template <class Body>
void onSphere(const io::Picture& panorama, const Body& body) {
    for (int y = 0; y < panorama.height; ++y) {
        const double tilt = std::numbers::pi * (0.5 - (y + 0.5) / panorama.height);
        const int count = std::max(1, int(std::cos(tilt) * panorama.width));
        for (int i = 0; i < count; ++i) body(int((i + 0.5) * panorama.width / count), y);
    }
}

Rgb commonFactor(const io::Picture& panorama, const io::Picture& truth) {
    Rgb factor(1, 1, 1);
    for (int c = 0; c < 3; ++c) {
        std::vector<float> ratios;
        onSphere(panorama, [&](int x, int y) {
            const float value = panorama.at(x, y)[c];
            if (covered(panorama, x, y) && value > 1e-6f && truth.at(x, y)[c] > 0.002f)
                ratios.push_back(truth.at(x, y)[c] / value);
        });
        if (!ratios.empty()) factor[c] = float(percentile(ratios, 0.5));
    }
    return factor;
}

// Panorama pixel of a direction in the panorama's own world.
calib::Vector2d pixelOf(const io::Picture& panorama, const calib::Vector3d& d) {
    const double pan = std::atan2(-d.x(), d.y());
    const double tilt = std::atan2(d.z(), std::hypot(d.x(), d.y()));
    return {panorama.width * (0.5 - pan / (2 * std::numbers::pi)),
            panorama.height * (0.5 - tilt / std::numbers::pi)};
}

struct Light3 {
    double here = 0, true_light = 0, peak = 0, true_peak = 0;
    bool whole = true;
};

Light3 lightAround(const io::Picture& panorama, const io::Picture& truth,
                   const calib::Vector2d& middle, double radius_px, double stretch,
                   const Rgb& factor) {
    Light3 light;
    for (int y = int(middle.y() - radius_px); y <= int(middle.y() + radius_px); ++y)
        for (int x = int(middle.x() - radius_px * stretch);
             x <= int(middle.x() + radius_px * stretch); ++x) {
            const double dx = (x + 0.5 - middle.x()) / stretch, dy = y + 0.5 - middle.y();
            if (y < 0 || y >= panorama.height || dx * dx + dy * dy > radius_px * radius_px)
                continue;
            const int wrapped = (x % panorama.width + panorama.width) % panorama.width;
            light.whole = light.whole && covered(panorama, wrapped, y);
            const float* a = panorama.at(wrapped, y);
            const float* b = truth.at(wrapped, y);
            const double value = a[0] * factor[0] + a[1] * factor[1] + a[2] * factor[2];
            const double real = double(b[0]) + b[1] + b[2];
            light.here += value;
            light.true_light += real;
            light.peak = std::max(light.peak, value);
            light.true_peak = std::max(light.true_peak, real);
        }
    return light;
}

void compareLamps(const io::Picture& panorama, const io::Picture& truth, const Scene& scene,
                  const calib::Matrix3d& truthFromPanorama, PanoramaErrors& errors) {
    if (scene.settings().light != Light::night) return;
    for (const Lamp& lamp : scene.plan().lamps) {
        const calib::Vector3d direction = truthFromPanorama.transpose() * lamp.centre.normalized();
        const calib::Vector2d middle = pixelOf(panorama, direction);
        LampError e;
        e.radius_px = lamp.radius_m / lamp.centre.norm() * panorama.width / (2 * std::numbers::pi);
        const double level = std::max(0.05, std::hypot(direction.x(), direction.y()));
        const Light3 light = lightAround(panorama, truth, middle, 1.3 * e.radius_px + 4.0,
                                         1.0 / level, errors.factor);
        if (!light.whole || light.true_peak < 0.1 * lamp.radiance.sum()) continue;  // hidden
        e.energy_ratio = light.here / light.true_light;
        e.peak_ratio = light.peak / light.true_peak;
        errors.lamps.push_back(e);
        if (e.radius_px >= 1.5)
            errors.worst_lamp = std::max(errors.worst_lamp, std::abs(e.energy_ratio - 1));
    }
}

}  // namespace

PanoramaErrors comparePanorama(const io::Picture& panorama, const io::Picture& truth,
                               const Scene& scene, const calib::Matrix3d& truthFromPanorama) {
    assert(panorama.width == truth.width && panorama.height == truth.height);
    PanoramaErrors errors;
    errors.factor = commonFactor(panorama, truth);
    std::vector<float> relative;
    size_t all = 0, inside = 0, off = 0;
    double squares = 0, near_squares = 0;
    size_t near = 0;
    onSphere(panorama, [&](int x, int y) {
        ++all;
        if (!covered(panorama, x, y)) return;
        ++inside;
        float worst = 0;
        for (int c = 0; c < 3; ++c) {
            const float real = truth.at(x, y)[c];
            const float value = panorama.at(x, y)[c] * errors.factor[c];
            relative.push_back(relativeError(value, real));
            worst = std::max(worst, relative.back());
            const double stops = std::log2((std::max(0.0f, value) + kFloor) / (real + kFloor));
            squares += stops * stops;
            if (std::abs(stops) > 1) continue;
            near_squares += stops * stops;
            ++near;
        }
        off += worst > 0.5f;
    });
    errors.covered = double(inside) / double(std::max<size_t>(1, all));
    errors.far_off = double(off) / double(std::max<size_t>(1, inside));
    errors.log_rms_stops = std::sqrt(squares / double(std::max<size_t>(1, relative.size())));
    errors.log_rms_near_stops = std::sqrt(near_squares / double(std::max<size_t>(1, near)));
    errors.median = percentile(relative, 0.5);
    errors.p90 = percentile(relative, 0.9);
    errors.p99 = percentile(relative, 0.99);
    errors.largest = percentile(relative, 1.0);
    compareLamps(panorama, truth, scene, truthFromPanorama, errors);
    return errors;
}

io::Picture relativeErrors(const io::Picture& panorama, const io::Picture& truth,
                           const Rgb& factor) {
    io::Picture errors(truth.width, truth.height, 3);
    for (int y = 0; y < truth.height; ++y)
        for (int x = 0; x < truth.width; ++x)
            for (int c = 0; c < 3; ++c)
                if (covered(panorama, x, y))
                    errors.at(x, y)[c] =
                        relativeError(panorama.at(x, y)[c] * factor[c], truth.at(x, y)[c]);
    return errors;
}

io::Picture truePanorama(const Scene& scene, int width, const calib::Matrix3d& truthFromPanorama,
                         std::optional<double> time_s) {
    return renderPanorama(scene, latlong(width, width / 2, truthFromPanorama), width, width / 2,
                          calib::Vector3d::Zero(), time_s);
}

io::Picture readPanorama(const std::filesystem::path& path, int widest) {
    const io::PlatePixels pixels = io::readPlatePixels(io::readPlateHeader(path));
    int factor = 1;
    while (pixels.width / factor > widest || pixels.width % factor || pixels.height % factor) {
        if (++factor > pixels.width)
            throw io::InputError(path.string(), "can't be made smaller by a whole factor");
    }
    io::Picture out(pixels.width / factor, pixels.height / factor, 4);
    for (int y = 0; y < pixels.height; ++y)
        for (int x = 0; x < pixels.width; ++x) {
            float rgba[4];
            pixels.read(x, y, rgba);
            float* sum = out.at(x / factor, y / factor);
            for (int c = 0; c < 4; ++c) sum[c] += rgba[c] / float(factor * factor);
        }
    return out;
}

}  // namespace plateloom::world
