#include "world/sample_grid.h"

#include <tbb/blocked_range.h>
#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>

#include "world/noise.h"

namespace plateloom::world {

namespace {

// Samples a side that a cell deserves: by the largest relative step to a neighbour.
int samplesFor(const io::Picture& grid, int x, int y) {
    const float* here = grid.at(x, y);
    float largest = 0;
    const auto against = [&](int nx, int ny) {
        if (nx < 0 || ny < 0 || nx >= grid.width || ny >= grid.height) return;
        const float* there = grid.at(nx, ny);
        for (int c = 0; c < grid.channels; ++c) {
            const float low = std::min(here[c], there[c]);
            largest = std::max(largest, std::abs(here[c] - there[c]) / (low + 0.004f));
        }
    };
    against(x - 1, y);
    against(x + 1, y);
    against(x, y - 1);
    against(x, y + 1);
    if (largest < 0.25f) return 1;
    if (largest < 2.0f) return 2;
    return largest < 20.0f ? 4 : 8;
}

template <class Light>
void sampleCell(const Light& light, int channels, const RayLattice& rays, int x, int y, int side,
                uint32_t seed, float* out) {
    std::fill_n(out, channels, 0.0f);
    for (int j = 0; j < side; ++j) {
        for (int i = 0; i < side; ++i) {
            const uint32_t die = hash(uint32_t(x), uint32_t(y), seed + uint32_t(j * side + i));
            const double u = (i + unit(die)) / side;
            const double v = (j + unit(hash(die, 3, seed))) / side;
            if (const auto direction = rays.at(x + u, y + v)) light(*direction, out);
        }
    }
    for (int c = 0; c < channels; ++c) out[c] /= float(side * side);
}

template <class Light>
io::Picture sampleCells(const Light& light, int channels, const RayLattice& rays, uint32_t seed,
                        const GridRegion& region) {
    const int width = region.width, height = region.height;
    io::Picture grid(width, height, channels);
    const auto rows = [&](const auto& body) {
        tbb::parallel_for(tbb::blocked_range<int>(0, height, 4), [&](const auto& range) {
            for (int y = range.begin(); y < range.end(); ++y) body(y);
        });
    };
    const auto sample = [&](int x, int y, int side, uint32_t seed_of_pass) {
        sampleCell(light, channels, rays, region.x0 + x, region.y0 + y, side, seed_of_pass,
                   grid.at(x, y));
    };
    rows([&](int y) {
        for (int x = 0; x < width; ++x) sample(x, y, 1, seed);
    });
    // Decided for all cells before any is changed, so the order of work can't matter.
    std::vector<uint8_t> side(size_t(width) * size_t(height));
    rows([&](int y) {
        for (int x = 0; x < width; ++x)
            side[size_t(y) * size_t(width) + size_t(x)] = uint8_t(samplesFor(grid, x, y));
    });
    rows([&](int y) {
        for (int x = 0; x < width; ++x) {
            const int n = side[size_t(y) * size_t(width) + size_t(x)];
            if (n > 1) sample(x, y, n, seed + 7777u);
        }
    });
    return grid;
}

}  // namespace

io::Picture sampleGrid(const SceneView& view, const RayLattice& rays, uint32_t seed) {
    return sampleGrid(view, rays, seed, {0, 0, rays.width(), rays.height()});
}

io::Picture sampleGrid(const SceneView& view, const RayLattice& rays, uint32_t seed,
                       const GridRegion& region) {
    const auto light = [&](const Vector3d& direction, float* sum) {
        const Rgb radiance = view.radiance(direction);
        for (int c = 0; c < 3; ++c) sum[c] += radiance[c];
    };
    return sampleCells(light, 3, rays, seed, region);
}

io::Picture sampleGrid(const LightAlong& light, int channels, const RayLattice& rays, uint32_t seed,
                       const GridRegion& region) {
    return sampleCells(light, channels, rays, seed, region);
}

}  // namespace plateloom::world
