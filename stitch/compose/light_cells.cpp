#include "stitch/compose/light_cells.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>

namespace plateloom::stitch {

namespace {

constexpr int kCell = LightCells::kCell_px;
constexpr float kNone = LightCells::kNone;

std::array<float, 3> cellMean(const io::PlatePixels& pixels, int x0, int y0) {
    float sum[3] = {0, 0, 0};
    for (int y = y0; y < y0 + kCell; ++y)
        for (int x = x0; x < x0 + kCell; ++x) {
            float rgba[4];
            pixels.read(x, y, rgba);
            if (rgba[3] < 0.999f) return {kNone, 0, 0};
            for (int c = 0; c < 3; ++c) {
                if (rgba[c] >= pixels.clip_level) return {kNone, 0, 0};
                sum[c] += rgba[c];
            }
        }
    constexpr float share = 1.0f / (kCell * kCell);
    if (sum[0] < 0) return {kNone, 0, 0};
    return {sum[0] * share, sum[1] * share, sum[2] * share};
}

}  // namespace

LightCells lightCells(const PlacedPlate& plate, const io::PlatePixels& pixels) {
    LightCells cells;
    cells.width = pixels.width / kCell;
    cells.height = pixels.height / kCell;
    const size_t count = size_t(cells.width) * cells.height;
    cells.light.assign(count, {kNone, 0, 0});
    cells.ray.assign(count, calib::Vector3d::Zero());
    for (int y = 0; y < cells.height; ++y)
        for (int x = 0; x < cells.width; ++x) {
            const auto centre = LightCells::centre_px(x, y);
            const auto ray = plate.lens.rayFromRecorded(centre);
            const double transmission = plate.lens.transmission(centre);
            if (!ray || !(transmission > 0)) continue;
            auto mean = cellMean(pixels, x * kCell, y * kCell);
            const size_t at = size_t(y) * cells.width + x;
            cells.ray[at] = plate.directionFromCamera(*ray);
            if (mean[0] == kNone) continue;
            for (float& value : mean) value /= float(transmission);
            cells.light[at] = mean;
        }
    return cells;
}

std::vector<LightCells> lightCells(const std::vector<PlacedPlate>& plates, PlateStore& store) {
    std::vector<LightCells> cells(plates.size());
    tbb::parallel_for(size_t(0), plates.size(), [&](size_t i) {
        cells[i] = lightCells(plates[i], *store.get(plates[i].plate));
    });
    return cells;
}

std::optional<LightCells::Sample> LightCells::at(const calib::Vector2d& px) const {
    const double gx = px.x() / kCell - 0.5, gy = px.y() / kCell - 0.5;
    const int x = int(std::floor(gx)), y = int(std::floor(gy));
    if (x < 0 || y < 0 || x + 1 >= width || y + 1 >= height) return std::nullopt;
    const float fx = float(gx - x), fy = float(gy - y);
    const float weight[4] = {(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy};
    Sample out{{0, 0, 0}, 0};
    float low = 1e30f, high = 0;
    for (int k = 0; k < 4; ++k) {
        const int cx = x + (k & 1), cy = y + (k >> 1);
        if (!valid(cx, cy)) return std::nullopt;
        const auto& cell = light[size_t(cy) * width + cx];
        for (size_t c = 0; c < 3; ++c) out.light[c] += weight[k] * cell[c];
        low = std::min(low, cell[1]);
        high = std::max(high, cell[1]);
    }
    out.contrast = (high - low) / (high + 1e-12f);
    return out;
}

void LightCells::unshade(const PlacedPlate& plate, const calib::Shading& shading) {
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x) {
            auto& cell = light[size_t(y) * width + x];
            if (cell[0] == kNone) continue;
            const auto mm = calib::mmFromPixel(plate.lens.sensor(), centre_px(x, y));
            const double transmission = shading.transmission(mm.squaredNorm());
            if (transmission > 0)
                for (float& value : cell) value /= float(transmission);
            else
                cell = {kNone, 0, 0};
        }
}

std::vector<SharedLight> sharedLight(const LightCells& a, const PlacedPlate& b_plate,
                                     const LightCells& b) {
    std::vector<SharedLight> shared;
    for (int y = 0; y < a.height; ++y)
        for (int x = 0; x < a.width; ++x) {
            if (!a.valid(x, y)) continue;
            const size_t at = size_t(y) * a.width + x;
            const auto px = b_plate.lens.recordedFromRay(b_plate.cameraFromDirection(a.ray[at]));
            if (!px || !b_plate.lens.inPicture(*px)) continue;
            const auto there = b.at(*px);
            if (!there) continue;
            const double weight = 1.0 / (0.01 + double(there->contrast) * there->contrast);
            shared.push_back({LightCells::centre_px(x, y), *px, a.light[at], there->light, weight});
        }
    return shared;
}

bool mayOverlap(const PlacedPlate& a, const PlacedPlate& b) {
    // Frames whose axes lie further apart than their half diagonals see nothing in common.
    const auto reach = [](const PlacedPlate& plate) {
        return std::atan2(1.3 * plate.lens.sensor().halfDiagonal_mm(), plate.lens.lens().focal_mm);
    };
    const calib::Vector3d axis_a = a.worldFromCamera.col(1), axis_b = b.worldFromCamera.col(1);
    return std::acos(std::clamp(axis_a.dot(axis_b), -1.0, 1.0)) <= reach(a) + reach(b);
}

}  // namespace plateloom::stitch
