// A panorama of a world that is known at every direction: waves over the sphere, band-limited, so
// that a view's every pixel has a true value. Written as any program might: tiled or not, half or
// float, latlong or cylinder.
#pragma once

#include <OpenImageIO/imageio.h>

#include <cmath>
#include <filesystem>
#include <stdexcept>
#include <string>
#include <vector>

#include "io/panorama_reader.h"
#include "stitch/resample/panorama_grid.h"

namespace plateloom::painted {

/// Sums of plane waves through the sphere: `shortest_rad` is the shortest period on it.
class WaveWorld {
public:
    explicit WaveWorld(double shortest_rad) {
        for (int k = 0; k < kWaves; ++k) {
            // Directions evenly spread (golden angle), periods from the shortest to four times it.
            const double z = 1 - 2 * (k + 0.5) / kWaves, turn = 2.399963 * k;
            const double r = std::sqrt(1 - z * z);
            const double period = shortest_rad * (1 + 3.0 * k / kWaves);
            wave_[k] = calib::Vector3d(r * std::cos(turn), r * std::sin(turn), z) *
                       (2 * 3.141592653589793 / period);
        }
    }
    /// R, G and B are waves of their own; about 0.5 +- 0.4.
    [[nodiscard]] double light(const calib::Vector3d& direction, int channel) const {
        double sum = 0.5;
        for (int k = channel; k < kWaves; k += 3)
            sum += 0.4 * 3 / kWaves * std::cos(wave_[k].dot(direction) + k);
        return sum;
    }
    /// Steepest change of one channel per radian.
    [[nodiscard]] double steepest() const {
        double sum = 0;
        for (int k = 0; k < kWaves; k += 3) sum += 0.4 * 3 / kWaves * wave_[k].norm();
        return sum;
    }

private:
    static constexpr int kWaves = 12;
    calib::Vector3d wave_[kWaves];
};

struct PanoramaForm {
    int tile = 64;  ///< 0: scanlines
    bool half = false;
    bool alpha = true;
    bool latlong = true;  ///< says so
};

template <class Light>
void writePanorama(const std::filesystem::path& path, const stitch::PanoramaGrid& grid,
                   const PanoramaForm& form, const Light& rgba_of) {
    const int channels = form.alpha ? 4 : 3;
    std::vector<float> pixels(size_t(grid.width) * grid.height * channels);
    for (int y = 0; y < grid.height; ++y)
        for (int x = 0; x < grid.width; ++x) {
            float rgba[4] = {0, 0, 0, 1};
            rgba_of(x, y, grid.directionAt(x + 0.5, y + 0.5), rgba);
            for (int c = 0; c < channels; ++c)
                pixels[(size_t(y) * grid.width + x) * channels + c] = rgba[c];
        }
    OIIO::ImageSpec spec(grid.width, grid.height, channels,
                         form.half ? OIIO::TypeHalf : OIIO::TypeFloat);
    if (form.tile) spec.tile_width = spec.tile_height = form.tile;
    if (grid.projection == stitch::Projection::cylindrical)
        spec.attribute("ImageDescription", io::describeCylinder({grid.top_tan, grid.bottom_tan}));
    else if (form.latlong)
        spec.attribute("textureformat", "LatLong Environment");
    spec.attribute("openexr:levelmode", 0);
    auto out = OIIO::ImageOutput::create(path.string());
    if (!out || !out->open(path.string(), spec) ||
        !out->write_image(OIIO::TypeFloat, pixels.data()) || !out->close())
        throw std::runtime_error("can't write " + path.string());
}

/// The world over the whole grid.
inline void writePanorama(const std::filesystem::path& path, const stitch::PanoramaGrid& grid,
                          const PanoramaForm& form, const WaveWorld& world) {
    writePanorama(path, grid, form, [&](int, int, const calib::Vector3d& direction, float* rgba) {
        for (int c = 0; c < 3; ++c) rgba[c] = float(world.light(direction, c));
    });
}

}  // namespace plateloom::painted
