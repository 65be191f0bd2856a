#include "world/point_spread.h"

#include <tbb/blocked_range.h>
#include <tbb/parallel_for.h>

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>
#include <vector>

#include "world/noise.h"

namespace plateloom::world {

int spreadMargin_px(double blur_px, double aperture_px) {
    return std::max(3, int(std::ceil(3.5 * blur_px + 0.5 * (aperture_px - 1))));
}

namespace {

// Share of a unit of light at grid distance d (pixels) that falls into an aperture after a Gaussian
// spread: the integral of the Gaussian over it.
std::vector<float> spreadWeights(int samples, double blur_px, double aperture_px) {
    const int reach = samples * spreadMargin_px(blur_px, aperture_px);
    const double half = 0.5 * aperture_px;
    const double sigma = std::max(blur_px, 1e-3) * std::numbers::sqrt2;
    std::vector<float> weights;
    double sum = 0;
    for (int i = -reach; i < reach + samples; ++i) {
        const double d = (i + 0.5) / samples - 0.5;  // from the pixel's centre
        const double w = 0.5 * (std::erf((d + half) / sigma) - std::erf((d - half) / sigma));
        weights.push_back(float(w));
        sum += w;
    }
    for (float& w : weights) w = float(w / sum);
    return weights;
}

// A normal deviate of its own for every value: Box and Muller 1958.
float deviate(uint32_t x, uint32_t y, uint32_t seed) {
    const float u = std::max(unit(hash(x, y, seed)), 1e-7f), v = unit(hash(x, y, seed + 1));
    return std::sqrt(-2.0f * std::log(u)) * std::cos(2.0f * std::numbers::pi_v<float> * v);
}

}  // namespace

namespace {

// Along rows, then along columns. The number of channels is known to the compiler, which is half of
// the speed.
template <int kChannels>
io::Picture gather(const io::Picture& grid, int samples, double blur_px, double aperture_px) {
    const std::vector<float> weights = spreadWeights(samples, blur_px, aperture_px);
    const int taps = int(weights.size());
    const int margin = spreadMargin_px(blur_px, aperture_px);
    const int width = grid.width / samples - 2 * margin;
    const int height = grid.height / samples - 2 * margin;
    io::Picture across(width, grid.height, kChannels), out(width, height, kChannels);
    tbb::parallel_for(tbb::blocked_range<int>(0, grid.height, 16), [&](const auto& rows) {
        for (int y = rows.begin(); y < rows.end(); ++y)
            for (int x = 0; x < width; ++x)
                for (int k = 0; k < taps; ++k)
                    for (int c = 0; c < kChannels; ++c)
                        across.at(x, y)[c] += weights[size_t(k)] * grid.at(x * samples + k, y)[c];
    });
    tbb::parallel_for(tbb::blocked_range<int>(0, height, 16), [&](const auto& rows) {
        for (int y = rows.begin(); y < rows.end(); ++y)
            for (int k = 0; k < taps; ++k) {
                const float* from = across.at(0, y * samples + k);
                float* to = out.at(0, y);
                for (int i = 0; i < width * kChannels; ++i) to[i] += weights[size_t(k)] * from[i];
            }
    });
    return out;
}

}  // namespace

io::Picture gatherPixels(const io::Picture& grid, int samples, double blur_px, double aperture_px) {
    assert(grid.channels == 3 || grid.channels == 7);
    return grid.channels == 3 ? gather<3>(grid, samples, blur_px, aperture_px)
                              : gather<7>(grid, samples, blur_px, aperture_px);
}

void addNoise(io::Picture& plate, double noise, double read_noise, uint32_t seed) {
    const float read = float(read_noise * read_noise);
    tbb::parallel_for(tbb::blocked_range<int>(0, plate.height, 16), [&](const auto& rows) {
        for (int y = rows.begin(); y < rows.end(); ++y)
            for (int x = 0; x < plate.width; ++x)
                for (int c = 0; c < 3; ++c) {
                    float& value = plate.at(x, y)[c];
                    const float sigma = float(noise) * std::sqrt(std::max(value, 0.0f) + read);
                    value +=
                        sigma * deviate(uint32_t(x), uint32_t(y), seed * 8u + uint32_t(c) * 2u);
                }
    });
}

}  // namespace plateloom::world
