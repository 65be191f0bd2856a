#include "stitch/resample/uv_map.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <vector>

#include "io/made_picture.h"
#include "stitch/resample/position_lattice.h"

namespace plateloom::stitch {

namespace {

constexpr int kStep = 16;
constexpr double kMapTolerance_px = 0.001;

int cells(int pixels) {
    return (pixels + kStep - 1) / kStep;
}

void mapCells(PositionLattice& lattice, int cy, const calib::Vector2d& perPixel, io::Picture& map) {
    SamplePoint points[kStep * kStep];
    for (int cx = 0; cx < cells(map.width); ++cx) {
        const bool any = lattice.cell(cx, cy, points);
        for (int y = cy * kStep; y < std::min((cy + 1) * kStep, map.height); ++y)
            for (int x = cx * kStep; x < std::min((cx + 1) * kStep, map.width); ++x) {
                const SamplePoint& p = points[y % kStep * kStep + x % kStep];
                float* rgb = map.at(x, y);
                const bool known = any && PositionLattice::isSomewhere(p);
                rgb[0] = known ? float(p.x * perPixel.x()) : kNoSource;
                rgb[1] = known ? float(1 - p.y * perPixel.y()) : kNoSource;
                rgb[2] = known ? 1.0f : 0.0f;
            }
    }
}

}  // namespace

io::Picture uvMap(const MapGrid& grid, const SourcePosition& source, int source_width,
                  int source_height) {
    io::Picture map(grid.width, grid.height, 3);
    const calib::Vector2d perPixel(1.0 / source_width, 1.0 / source_height);
    tbb::parallel_for(0, cells(grid.height), [&](int cy) {
        PositionLattice lattice([&](double x, double y) { return source(x + grid.x, y + grid.y); },
                                [](double, double) { return false; },
                                {0, cy, cells(grid.width), cy + 1},
                                {kStep, kMapTolerance_px, source_width, source_height, true});
        mapCells(lattice, cy, perPixel, map);
    });
    return map;
}

io::Picture shadingMap(const MapGrid& grid, const ShadingFactor& factor) {
    io::Picture map(grid.width, grid.height, 3);
    tbb::parallel_for(0, grid.height, [&](int y) {
        for (int x = 0; x < grid.width; ++x) {
            const auto value = factor(x + grid.x + 0.5, y + grid.y + 0.5);
            std::fill_n(map.at(x, y), 3, float(value.value_or(0)));
        }
    });
    return map;
}

void writeMap(const std::filesystem::path& path, const io::Picture& map, const MapGrid& grid,
              const io::PictureTags& tags) {
    io::writeMade(path, map, tags, false, {grid.x, grid.y, grid.display_width, grid.display_height},
                  io::Made::map);
}

}  // namespace plateloom::stitch
