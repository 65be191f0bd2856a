#include "stitch/compose/overview.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "stitch/compose/cell_merit.h"
#include "stitch/resample/warp.h"

namespace plateloom::stitch {

namespace {

using calib::Vector2d;
using calib::Vector3d;

constexpr size_t kMostCells = size_t(12) << 20;  // of all small plates together
constexpr int kMargin = 2;                       // cells around a plate's part of the grid
constexpr double kTolerance_px = 0.05;           // of plate pixels: a cell is several of them

// Reluctance to show a plate at a cell, in the seam's unit (stops of difference along one cell):
// small against any visible difference, so that it only decides where plates agree.
constexpr float kOffCentreCost = 0.004f;  // at the frame's edge; grows with the fourth power
constexpr float kNearEdgeCost = 0.3f;     // on the outermost cells, where blending would run out
constexpr float kNearEdgeCells = 4;
constexpr float kClippedCost = 0.5f;  // another plate may have recorded what this one clipped
constexpr float kHoleCost = 2.0f;     // invalid pixels under the cell

struct Part {
    int x0 = 0, y0 = 0, width = 0, height = 0;
};

int floorEven(double value) {
    return 2 * int(std::floor(value / 2));
}

// The part of the grid that holds the whole plate: x relative to the plate's own axis, so that a
// plate across the panorama's edge is one piece.
Part partOf(const PlacedPlate& plate, const PanoramaGrid& grid) {
    constexpr int kSteps = 48;
    const auto& sensor = plate.lens.sensor();
    const double middle = grid.pixelOf(plate.worldFromCamera.col(1)).x();
    double left = 1e30, right = -1e30, top = 1e30, bottom = -1e30;
    for (int j = 0; j <= kSteps; ++j)
        for (int i = 0; i <= kSteps; ++i) {
            const auto ray = plate.lens.rayFromRecorded(Vector2d(
                double(i) * sensor.width_px / kSteps, double(j) * sensor.height_px / kSteps));
            if (!ray) continue;
            const Vector2d at = grid.pixelOf(plate.directionFromCamera(*ray));
            const double x = at.x() - grid.width * std::round((at.x() - middle) / grid.width);
            left = std::min(left, x);
            right = std::max(right, x);
            top = std::min(top, at.y());
            bottom = std::max(bottom, at.y());
        }
    if (left > right) return {};
    const auto sees = [&](const Vector3d& direction) {
        const auto px = plate.lens.recordedFromRay(plate.cameraFromDirection(direction));
        return px && plate.lens.inPicture(*px);
    };
    const bool up = sees(Vector3d::UnitZ()), down = sees(-Vector3d::UnitZ());
    if (up) top = 0;
    if (down) bottom = grid.height;
    // Between samples of a frame that comes near a pole, x may run further out than any sample.
    if (up || down || right - left > 0.45 * grid.width) {
        left = 0;
        right = grid.width;
    }
    Part part;
    part.y0 = std::max(0, floorEven(top - kMargin));
    part.height = std::min(grid.height, floorEven(bottom + kMargin) + 2) - part.y0;
    if (part.height <= 0) return {};
    part.x0 = floorEven(left - kMargin);
    part.width = floorEven(right + kMargin) + 2 - part.x0;
    if (part.width >= grid.width) {
        part.x0 = 0;
        part.width = grid.width;
    }
    part.x0 = ((part.x0 % grid.width) + grid.width) % grid.width;
    return part;
}

PanoramaGrid coarse(const PanoramaGrid& grid, int width) {
    PanoramaGrid out = grid;
    out.width = width;
    out.height = std::max(2, 2 * int(std::lround(0.5 * grid.height * width / double(grid.width))));
    return out;
}

// Without what it lacks against other plates (cell_merit.h).
float costOf(const SamplePoint& p, const calib::Sensor& sensor, float share, bool clipped) {
    const float w = float(sensor.width_px), h = float(sensor.height_px);
    const float edge =
        std::min(std::min(p.x, w - p.x) / p.scale_x, std::min(p.y, h - p.y) / p.scale_y);
    const float rx = std::abs(2 * p.x / w - 1), ry = std::abs(2 * p.y / h - 1);
    const float off_centre = std::max(rx, ry) * std::max(rx, ry);
    float cost = kOffCentreCost * off_centre * off_centre;
    cost += kNearEdgeCost * std::max(0.0f, 1 - edge / kNearEdgeCells);
    if (clipped) cost += kClippedCost;
    if (edge >= 2.5f) cost += kHoleCost * (1 - share);
    return cost;
}

float inwardOf(const SamplePoint& p, const calib::Sensor& sensor) {
    const float w = float(sensor.width_px), h = float(sensor.height_px);
    return std::clamp(2 * std::min(std::min(p.x, w - p.x) / w, std::min(p.y, h - p.y) / h), 0.0f,
                      1.0f);
}

// Light is left linear here: its floor is not known before all plates are.
SmallPlate makeSmall(const PlacedPlate& plate, const io::PlatePixels& pixels,
                     const PanoramaGrid& grid, const PlateMerit* merit,
                     std::vector<CellMerit>& merits) {
    const Part part = partOf(plate, grid);
    SmallPlate small{part.x0, part.y0, part.width, part.height, {}, {}, {}, {}};
    if (part.width == 0 || part.height == 0) return {};
    const size_t count = size_t(part.width) * part.height;
    small.light.assign(count * 3, 0.0f);
    small.share.assign(count, 0.0f);
    small.inward.assign(count, 0.0f);
    small.cost.assign(count, 0.0f);
    if (merit) merits.resize(count);

    const int step = std::min(8, latticeStep(grid) * 2);
    const CellRange range{part.x0 / step, part.y0 / step, (part.x0 + part.width - 1) / step + 1,
                          (part.y0 + part.height - 1) / step + 1};
    PositionLattice lattice = panoramaLattice(plate, grid, range, step, kTolerance_px);
    std::vector<SamplePoint> points(size_t(step) * step);
    std::vector<float> rgba(points.size() * 4);
    for (int cy = range.y0; cy < range.y1; ++cy)
        for (int cx = range.x0; cx < range.x1; ++cx) {
            if (!lattice.cell(cx, cy, points.data())) continue;
            resampleSmooth(pixels, points.data(), points.size(), rgba.data());
            std::vector<float> recorded = rgba;
            unshade(plate, points.data(), points.size(), rgba.data());
            for (int k = 0; k < step * step; ++k) {
                const int x = cx * step + k % step - part.x0, y = cy * step + k / step - part.y0;
                if (x < 0 || y < 0 || x >= part.width || y >= part.height) continue;
                const float* value = &rgba[size_t(k) * 4];
                if (value[3] == 0) continue;
                const float* raw = &recorded[size_t(k) * 4];
                const float peak = std::max({raw[0], raw[1], raw[2]});
                const size_t at = small.at(x, y);
                std::copy_n(value, 3, &small.light[at * 3]);
                small.share[at] = value[3];
                small.inward[at] = inwardOf(points[size_t(k)], plate.lens.sensor());
                small.cost[at] = costOf(points[k], plate.lens.sensor(), value[3],
                                        peak > 0.9f * pixels.clip_level);
                if (merit) merits[at] = merit->at(points[k].x, points[k].y);
            }
        }
    return small;
}

// The median luminance, every cell of every plate being one voice.
float typicalLight(const std::vector<SmallPlate>& plates) {
    std::vector<float> luminance;
    for (const auto& small : plates)
        for (size_t i = 0; i < small.share.size(); i += 3)
            if (small.share[i] > 0.5f)
                luminance.push_back(small.light[3 * i] + small.light[3 * i + 1] +
                                    small.light[3 * i + 2]);
    if (luminance.empty()) return 1;
    const auto middle = luminance.begin() + std::ptrdiff_t(luminance.size() / 2);
    std::nth_element(luminance.begin(), middle, luminance.end());
    return std::max(*middle / 3, 1e-6f);
}

}  // namespace

PanoramaGrid overviewGrid(const std::vector<PlacedPlate>& plates, const PanoramaGrid& grid,
                          int most_across) {
    int width = std::clamp((grid.width / 4 + 32) / 64 * 64, 64, most_across);
    for (;; width = std::max(64, width / 128 * 64)) {
        const PanoramaGrid out = coarse(grid, width);
        size_t cells = 0;
        for (const auto& plate : plates) {
            const Part part = partOf(plate, out);
            cells += size_t(part.width) * part.height;
        }
        if (cells <= kMostCells || width == 64) return out;
    }
}

Overview makeOverview(const std::vector<PlacedPlate>& plates, PlateStore& store,
                      const PanoramaGrid& panorama, OverviewUse use, int most_across) {
    Overview overview;
    overview.grid = overviewGrid(plates, panorama, most_across);
    overview.plates.resize(plates.size());
    std::vector<std::vector<CellMerit>> merits(plates.size());
    tbb::parallel_for(size_t(0), plates.size(), [&](size_t i) {
        const auto pixels = store.get(plates[i].plate);
        std::optional<PlateMerit> merit;
        if (use == OverviewUse::seams)
            merit.emplace(plates[i].lens, *pixels, float(panorama.pixelsPerRadian()));
        overview.plates[i] =
            makeSmall(plates[i], *pixels, overview.grid, merit ? &*merit : nullptr, merits[i]);
    });
    overview.typical = typicalLight(overview.plates);
    overview.floor = 0.05f * overview.typical;
    tbb::parallel_for(size_t(0), plates.size(), [&](size_t i) {
        for (float& value : overview.plates[i].light)
            value = std::log2(std::max(value, 0.0f) + overview.floor);
    });
    if (use == OverviewUse::seams) addLackingMerit(merits, overview);
    return overview;
}

}  // namespace plateloom::stitch
