#include "stitch/flatten.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>

#include "stitch/warp.h"

namespace plateloom::stitch {

namespace {

using calib::Vector2d;

constexpr int kStep = 16;
constexpr double kMostOverscan = 2.0;  // frames beyond each side

// Flat pixel of a recorded one; nothing where the lens has no answer.
std::optional<Vector2d> flatFromRecorded(const calib::LensMap& lens, const Vector2d& recorded_px) {
    const auto mm = lens.flatFromRecorded_mm(mmFromPixel(lens.sensor(), recorded_px));
    if (!mm) return std::nullopt;
    return pixelFromMm(lens.sensor(), *mm);
}

std::optional<Vector2d> recordedFromFlat(const calib::LensMap& lens, const Vector2d& flat_px) {
    const auto mm = lens.recordedFromFlat_mm(mmFromPixel(lens.sensor(), flat_px));
    if (!mm) return std::nullopt;
    return pixelFromMm(lens.sensor(), *mm);
}

struct FlatBounds {
    int x0 = 0, y0 = 0, x1 = 0, y1 = 0;
};

// Every whole flat pixel that some recorded position falls on. The frame's edge bounds it: the map
// folds nowhere within.
FlatBounds recordedReach(const calib::LensMap& lens) {
    const auto& s = lens.sensor();
    double x0 = 0, y0 = 0, x1 = s.width_px, y1 = s.height_px;
    const auto include = [&](double x, double y) {
        const auto flat = flatFromRecorded(lens, {x, y});
        if (!flat) return;
        x0 = std::min(x0, flat->x());
        x1 = std::max(x1, flat->x());
        y0 = std::min(y0, flat->y());
        y1 = std::max(y1, flat->y());
    };
    for (int x = 0; x <= s.width_px; ++x)
        for (const double y : {0.0, double(s.height_px)}) include(x, y);
    for (int y = 0; y <= s.height_px; ++y)
        for (const double x : {0.0, double(s.width_px)}) include(x, y);
    const double hair = 1e-6;
    return {int(std::floor(x0 + hair)), int(std::floor(y0 + hair)), int(std::ceil(x1 - hair)),
            int(std::ceil(y1 - hair))};
}

FlatBounds boundsFor(const calib::LensMap& lens, Fit fit, bool* clamped) {
    const auto& s = lens.sensor();
    if (fit == Fit::inside) return {0, 0, s.width_px, s.height_px};
    const FlatBounds all = recordedReach(lens);
    const int most_x = int(kMostOverscan * s.width_px), most_y = int(kMostOverscan * s.height_px);
    const FlatBounds kept{std::max(all.x0, -most_x), std::max(all.y0, -most_y),
                          std::min(all.x1, s.width_px + most_x),
                          std::min(all.y1, s.height_px + most_y)};
    if (clamped)
        *clamped = kept.x0 != all.x0 || kept.y0 != all.y0 || kept.x1 != all.x1 || kept.y1 != all.y1;
    return kept;
}

// One row of lattice cells into the picture.
void flattenCells(const io::PlatePixels& plate, const PlacedPlate& placed, int cy, int cells_across,
                  const FlatBounds& bounds, io::Picture& picture) {
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
        resample(plate, points.data(), points.size(), rgba.data());
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
    if (clamped) *clamped = false;
    const FlatBounds bounds = boundsFor(lens, fit, clamped);
    FlatPlate flat;
    flat.picture = io::Picture(bounds.x1 - bounds.x0, bounds.y1 - bounds.y0, 4);
    flat.window = {bounds.x0, bounds.y0, lens.sensor().width_px, lens.sensor().height_px};
    PlacedPlate placed;
    placed.lens = lens;
    const int across = (flat.picture.width + kStep - 1) / kStep;
    const int down = (flat.picture.height + kStep - 1) / kStep;
    tbb::parallel_for(
        0, down, [&](int cy) { flattenCells(plate, placed, cy, across, bounds, flat.picture); });
    return flat;
}

}  // namespace plateloom::stitch
