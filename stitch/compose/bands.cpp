#include "stitch/compose/bands.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "stitch/compose/plate_offsets.h"

namespace plateloom::stitch {

namespace {

// Cells of the coarsest band are 32 times the overview's at most: 5.6 degrees, on any grid.
constexpr int kMostLevels = 5;
constexpr int kCoarsestAcross = 64;
// Stops by which plates may differ from their mean before a cell's say in coarser bands is halved.
constexpr float kCellAgreement_stops = 0.1f;
constexpr float kLeastSay = 0.001f;
// A cell whose filter reaches over the frame's edge holds a mean that lies off its centre: it says
// nothing.
constexpr float kCovered = 0.98f;

// One level of one plate, over part of the level's grid. Samples of level l + 1 lie on every second
// sample of level l, as in Burt and Adelson.
struct PyramidLevel {
    int number = 0;                             // 0 is the overview's own grid
    int grid_width = 0, grid_height = 0;        // of the whole level; x is a circle of grid_width
    int base_height = 0;                        // of level 0
    bool poles = false;                         // beyond row 0 and the last the grid goes on
    int x0 = 0, y0 = 0, width = 0, height = 0;  // x0 may be negative; width <= grid_width
    std::vector<std::array<float, 3>> light;    // log2, less the mean of all plates there
    std::vector<float> weight;                  // 0: no light here
    std::vector<float> mask;                    // the plate's share of the panorama

    [[nodiscard]] bool circle() const { return width == grid_width; }
    [[nodiscard]] size_t size() const { return size_t(width) * height; }
    [[nodiscard]] bool hasRow(int y) const { return poles || (y >= 0 && y < grid_height); }
    // Beyond a pole, half a turn away, rows come in again in reverse. The poles lie half a cell of
    // level 0 beyond its first and last row; on coarser levels rows are mirrored at the sample, or
    // the middle of two, that is nearest to the pole.
    void overPole(int& x, int& y) const {
        if (!poles || (y >= 0 && y < grid_height)) return;
        const int south = (2 * base_height - 1 + (1 << number) / 2) >> number;
        y = y < 0 ? (number == 0 ? -1 : 0) - y
                  : std::clamp(south, 2 * grid_height - 2, 2 * grid_height - 1) - y;
        x += grid_width / 2;
    }
    // Index of a sample of the whole level, or -1 where this part doesn't reach.
    [[nodiscard]] ptrdiff_t find(int x, int y) const {
        overPole(x, y);
        const int dx = (((x - x0) % grid_width) + grid_width) % grid_width;
        const int dy = y - y0;
        if (dx >= width || dy < 0 || dy >= height) return -1;
        return ptrdiff_t(dy) * width + dx;
    }
    // Index in an array over the whole level.
    [[nodiscard]] size_t global(int dx, int dy) const {
        const int x = (((x0 + dx) % grid_width) + grid_width) % grid_width;
        return size_t(y0 + dy) * grid_width + x;
    }
};

using Pyramid = std::vector<PyramidLevel>;

constexpr float kKernel[5] = {1 / 16.0f, 4 / 16.0f, 6 / 16.0f, 4 / 16.0f, 1 / 16.0f};

int floorHalf(int value) {
    return value >= 0 ? value / 2 : -((1 - value) / 2);
}

// The part of the next level that the samples of this one reach.
PyramidLevel nextPart(const PyramidLevel& fine) {
    PyramidLevel next;
    next.number = fine.number + 1;
    next.base_height = fine.base_height;
    next.poles = fine.poles;
    next.grid_width = fine.grid_width / 2;
    next.grid_height = (fine.grid_height + 1) / 2;
    next.x0 = floorHalf(fine.x0 - 1);
    const int x1 = floorHalf(fine.x0 + fine.width + 2) + 1;
    next.width = std::min(next.grid_width, x1 - next.x0);
    if (fine.circle() || next.width == next.grid_width) {
        next.x0 = 0;
        next.width = next.grid_width;
    }
    next.y0 = std::max(0, floorHalf(fine.y0 - 1));
    next.height = std::min(next.grid_height, floorHalf(fine.y0 + fine.height + 2) + 1) - next.y0;
    next.light.resize(next.size());
    next.weight.resize(next.size());
    next.mask.resize(next.size());
    return next;
}

// Burt and Adelson's REDUCE. Light is a mean over what has weight; the mask is zero outside its
// part, and its mean is over the panorama's rows only.
PyramidLevel reduce(const PyramidLevel& fine) {
    PyramidLevel next = nextPart(fine);
    for (int dy = 0; dy < next.height; ++dy)
        for (int dx = 0; dx < next.width; ++dx) {
            const int x = 2 * (next.x0 + dx), y = 2 * (next.y0 + dy);
            float light[3] = {0, 0, 0}, weight = 0, mask = 0, rows = 0;
            for (int j = -2; j <= 2; ++j) {
                if (!fine.hasRow(y + j)) continue;
                rows += kKernel[j + 2];
                for (int i = -2; i <= 2; ++i) {
                    const ptrdiff_t at = fine.find(x + i, y + j);
                    if (at < 0) continue;
                    const float k = kKernel[j + 2] * kKernel[i + 2];
                    const float w = k * fine.weight[size_t(at)];
                    for (int c = 0; c < 3; ++c) light[c] += w * fine.light[size_t(at)][c];
                    weight += w;
                    mask += k * fine.mask[size_t(at)];
                }
            }
            const size_t to = size_t(dy) * next.width + dx;
            next.weight[to] = weight;
            next.mask[to] = mask / rows;
            for (int c = 0; c < 3; ++c) next.light[to][c] = weight > 0 ? light[c] / weight : 0;
        }
    return next;
}

// Burt and Adelson's EXPAND of `values` over `coarse` to sample (x, y) of the finer level; the mean
// over samples that `defined` admits. False where there are none.
template <class Defined>
bool expandAt(const PyramidLevel& coarse, const std::vector<std::array<float, 3>>& values,
              Defined&& defined, int x, int y, float out[3]) {
    const int cx = floorHalf(x), cy = floorHalf(y);
    const bool odd_x = (x & 1) != 0, odd_y = (y & 1) != 0;
    // Even samples: 1 6 1 of three coarse ones; odd: 4 4 of two.
    static constexpr float kEven[3] = {1 / 8.0f, 6 / 8.0f, 1 / 8.0f};
    float sum[3] = {0, 0, 0}, weight = 0;
    for (int j = odd_y ? 0 : -1; j <= 1; ++j)
        for (int i = odd_x ? 0 : -1; i <= 1; ++i) {
            const ptrdiff_t at = coarse.find(cx + i, cy + j);
            if (at < 0 || !defined(size_t(at))) continue;
            const float k = (odd_x ? 0.5f : kEven[i + 1]) * (odd_y ? 0.5f : kEven[j + 1]);
            for (int c = 0; c < 3; ++c) sum[c] += k * values[size_t(at)][c];
            weight += k;
        }
    for (int c = 0; c < 3; ++c) out[c] = weight > 0 ? sum[c] / weight : 0;
    return weight > 0;
}

// Mean of all plates' log light at each cell, each plate's own exposure taken out.
struct Mean {
    std::vector<std::array<float, 3>> light;
    std::vector<float> weight;
};

template <class F>
void forEachCell(const SmallPlate& small, int grid_width, F&& use) {
    for (int y = 0; y < small.height; ++y)
        for (int x = 0; x < small.width; ++x)
            use(small.at(x, y),
                size_t(y + small.y0) * grid_width + size_t((x + small.x0) % grid_width));
}

using Offsets = std::vector<std::array<float, 3>>;

Mean meanOfPlates(const Overview& overview, const Offsets& offsets) {
    const size_t count = size_t(overview.grid.width) * overview.grid.height;
    Mean mean;
    mean.light.assign(count, {0, 0, 0});
    mean.weight.assign(count, 0.0f);
    for (size_t i = 0; i < overview.plates.size(); ++i) {
        const auto& small = overview.plates[i];
        forEachCell(small, overview.grid.width, [&](size_t from, size_t to) {
            if (small.share[from] < kCovered) return;
            // Smoothly less toward the edge, so that the mean has no step where a plate ends.
            const float w = small.inward[from] * small.inward[from] + 1e-6f;
            for (int c = 0; c < 3; ++c)
                mean.light[to][c] += w * (small.light[3 * from + c] - offsets[i][c]);
            mean.weight[to] += w;
        });
    }
    for (size_t i = 0; i < count; ++i)
        if (mean.weight[i] > 0)
            for (float& value : mean.light[i]) value /= mean.weight[i];
    return mean;
}

// How much a cell has to say in coarser bands: little where plates hold different things.
float sayOf(const std::array<float, 3>& light, const std::array<float, 3>& offset) {
    float off = 0;
    for (int c = 0; c < 3; ++c) off = std::max(off, std::abs(light[c] - offset[c]));
    const float r = off / kCellAgreement_stops;
    return std::max(kLeastSay, 1 / (1 + r * r * r * r));
}

PyramidLevel firstLevel(const Overview& overview, const LabelBlend& labels, const Mean& mean,
                        const std::array<float, 3>& offset, int plate) {
    const auto& small = overview.plates[size_t(plate)];
    PyramidLevel level;
    level.grid_width = overview.grid.width;
    level.grid_height = level.base_height = overview.grid.height;
    level.poles = overview.grid.projection == Projection::equirectangular;
    level.x0 = small.x0;
    level.y0 = small.y0;
    level.width = small.width;
    level.height = small.height;
    level.light.assign(level.size(), {0, 0, 0});
    level.weight.assign(level.size(), 0.0f);
    level.mask.assign(level.size(), 0.0f);
    forEachCell(small, overview.grid.width, [&](size_t from, size_t to) {
        level.mask[from] = labels.of(size_t(plate), to);
        if (small.share[from] < kCovered) return;
        for (int c = 0; c < 3; ++c)
            level.light[from][c] = small.light[3 * from + c] - mean.light[to][c];
        level.weight[from] = sayOf(level.light[from], offset);
    });
    return level;
}

int levelsFor(const Overview& overview) {
    int levels = 0;
    while (levels < kMostLevels && (overview.grid.width >> (levels + 1)) >= kCoarsestAcross)
        ++levels;
    return std::max(levels, 1);
}

Pyramid pyramidOf(PyramidLevel first, int levels) {
    Pyramid pyramid;
    pyramid.push_back(std::move(first));
    for (int l = 0; l < levels; ++l) pyramid.push_back(reduce(pyramid.back()));
    return pyramid;
}

// Turns the Gaussian levels' light into Laplacian bands, finest first; the last level stays. Where
// a level has no light its band is zero: the coarser bands go on smoothly.
void toBands(Pyramid& pyramid) {
    for (size_t l = 0; l + 1 < pyramid.size(); ++l) {
        PyramidLevel& fine = pyramid[l];
        const PyramidLevel& coarse = pyramid[l + 1];
        const auto defined = [&](size_t at) { return coarse.weight[at] > 0; };
        for (int dy = 0; dy < fine.height; ++dy)
            for (int dx = 0; dx < fine.width; ++dx) {
                const size_t at = size_t(dy) * fine.width + dx;
                float smooth[3] = {0, 0, 0};
                if (fine.weight[at] > 0)
                    expandAt(coarse, coarse.light, defined, fine.x0 + dx, fine.y0 + dy, smooth);
                for (int c = 0; c < 3; ++c) fine.light[at][c] -= smooth[c];
            }
    }
}

// Sums over all plates of one level: mask x band, and mask.
struct Blend {
    std::vector<std::array<float, 3>> sum;
    std::vector<float> mask;
};

std::vector<Blend> blendAll(const std::vector<Pyramid>& pyramids, const Overview& overview,
                            int levels) {
    std::vector<Blend> blends;
    int width = overview.grid.width, height = overview.grid.height;
    for (int l = 0; l <= levels; ++l, width /= 2, height = (height + 1) / 2) {
        Blend blend;
        blend.sum.assign(size_t(width) * height, {0, 0, 0});
        blend.mask.assign(size_t(width) * height, 0.0f);
        for (const auto& pyramid : pyramids) {
            if (pyramid.empty()) continue;
            const PyramidLevel& level = pyramid[size_t(l)];
            for (int dy = 0; dy < level.height; ++dy)
                for (int dx = 0; dx < level.width; ++dx) {
                    const size_t at = size_t(dy) * level.width + dx;
                    const bool counts = level.mask[at] > 0 && (l < levels || level.weight[at] > 0);
                    if (!counts) continue;
                    const size_t to = level.global(dx, dy);
                    for (int c = 0; c < 3; ++c)
                        blend.sum[to][c] += level.mask[at] * level.light[at][c];
                    blend.mask[to] += level.mask[at];
                }
        }
        blends.push_back(std::move(blend));
    }
    return blends;
}

// The blend less the plate's own bands, coarsest first; exactly zero where the plate alone has a
// say on every level.
std::vector<std::array<float, 3>> correction(const Pyramid& pyramid,
                                             const std::vector<Blend>& blends) {
    std::vector<std::array<float, 3>> coarse_sum;
    const int levels = int(pyramid.size()) - 1;
    for (int l = levels; l >= 0; --l) {
        const PyramidLevel& level = pyramid[size_t(l)];
        const Blend& blend = blends[size_t(l)];
        std::vector<std::array<float, 3>> sum(level.size(), {0, 0, 0});
        for (int dy = 0; dy < level.height; ++dy)
            for (int dx = 0; dx < level.width; ++dx) {
                const size_t at = size_t(dy) * level.width + dx, from = level.global(dx, dy);
                const float mask = blend.mask[from];
                // The finest band's masks are hard: it is for compose to pass from plate to plate.
                const bool known = l > 0 && (l < levels || level.weight[at] > 0);
                if (mask > 0 && mask != level.mask[at] && known)
                    for (int c = 0; c < 3; ++c)
                        sum[at][c] = blend.sum[from][c] / mask - level.light[at][c];
                if (l == levels) continue;
                float above[3];
                expandAt(
                    pyramid[size_t(l) + 1], coarse_sum, [](size_t) { return true; }, level.x0 + dx,
                    level.y0 + dy, above);
                for (int c = 0; c < 3; ++c) sum[at][c] += above[c];
            }
        coarse_sum = std::move(sum);
    }
    return coarse_sum;
}

// No more than a stop either way: beyond that it is not the same thing that the plates saw.
float boundedGain(float stops) {
    return std::exp2(stops / std::sqrt(1 + stops * stops));
}

}  // namespace

const float* GainField::at(int x, int y, int grid_width) const {
    int dx = ((x - x0) % grid_width + grid_width) % grid_width;
    if (dx >= width) dx = dx - width < grid_width - dx ? width - 1 : 0;
    const int dy = std::clamp(y - y0, 0, height - 1);
    return &rgba[(size_t(dy) * width + dx) * 4];
}

std::vector<GainField> blendBands(const Overview& overview, const LabelBlend& labels) {
    const size_t count = overview.plates.size();
    const Offsets offsets = plateOffsets(overview);
    const Mean mean = meanOfPlates(overview, offsets);
    const int levels = levelsFor(overview);
    std::vector<Pyramid> pyramids(count);
    tbb::parallel_for(size_t(0), count, [&](size_t i) {
        if (overview.plates[i].empty()) return;
        pyramids[i] = pyramidOf(firstLevel(overview, labels, mean, offsets[i], int(i)), levels);
        toBands(pyramids[i]);
    });
    const std::vector<Blend> blends = blendAll(pyramids, overview, levels);

    std::vector<GainField> gains(count);
    tbb::parallel_for(size_t(0), count, [&](size_t i) {
        if (pyramids[i].empty()) return;
        const PyramidLevel& level = pyramids[i].front();
        const auto stops = correction(pyramids[i], blends);
        GainField& field = gains[i];
        field = {level.x0, level.y0, level.width, level.height, {}};
        field.rgba.reserve(stops.size() * 4);
        for (const auto& value : stops) {
            for (const float s : value) field.rgba.push_back(boundedGain(s));
            field.rgba.push_back(1);
        }
    });
    return gains;
}

}  // namespace plateloom::stitch
