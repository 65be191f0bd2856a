#include "stitch/flatten/flatten.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>

#include "stitch/flatten/frame_warp.h"
#include "stitch/resample/flat_positions.h"
#include "stitch/resample/overscan.h"
#include "stitch/resample/warp.h"

namespace plateloom::stitch {

namespace {

constexpr int kStep = 16;

}  // namespace

PixelBounds flatBounds(const calib::LensMap& lens, Fit fit, bool* clamped) {
    if (clamped) *clamped = false;
    return fit == Fit::inside ? wholeFrame(lens.sensor()) : overscanBounds(lens, clamped);
}

namespace {

// One row of lattice cells into the picture.
void flattenCells(const io::PlatePixels& plate, const BrightLight* bright,
                  const PlacedPlate& placed, int cy, int cells_across, const PixelBounds& bounds,
                  io::Picture& picture) {
    const auto exact = [&](double x, double y) {
        return recordedFromFlat(placed.lens, {x + bounds.x0, y + bounds.y0});
    };
    PositionLattice lattice(
        exact, [](double, double) { return false; }, {0, cy, cells_across, cy + 1},
        {kStep, 0.001, placed.lens.sensor().width_px, placed.lens.sensor().height_px});
    std::vector<SamplePoint> points(kStep * kStep);
    std::vector<float> rgba(points.size() * 4);
    for (int cx = 0; cx < cells_across; ++cx) {
        if (!lattice.cell(cx, cy, points.data())) continue;
        resample(plate, bright, points.data(), points.size(), rgba.data());
        unshade(placed, points.data(), points.size(), rgba.data());
        const int width = std::min(kStep, picture.width - cx * kStep);
        const int height = std::min(kStep, picture.height - cy * kStep);
        for (int y = 0; y < height; ++y)
            std::copy_n(&rgba[size_t(y) * kStep * 4], width * 4,
                        picture.at(cx * kStep, cy * kStep + y));
    }
}

}  // namespace

FlatPlate flattenPlate(const io::PlatePixels& plate, const calib::LensMap& lens, Fit fit,
                       bool* clamped) {
    const PixelBounds bounds = flatBounds(lens, fit, clamped);
    FlatPlate flat;
    flat.picture = io::Picture(bounds.x1 - bounds.x0, bounds.y1 - bounds.y0, 4);
    flat.window = {bounds.x0, bounds.y0, lens.sensor().width_px, lens.sensor().height_px};
    PlacedPlate placed;
    placed.lens = lens;
    const auto bright = findBright(plate, kFlatScale);
    const int across = (flat.picture.width + kStep - 1) / kStep;
    const int down = (flat.picture.height + kStep - 1) / kStep;
    tbb::parallel_for(0, down, [&](int cy) {
        flattenCells(plate, bright.get(), placed, cy, across, bounds, flat.picture);
    });
    return flat;
}

}  // namespace plateloom::stitch
