#include "stitch/compose/cell_merit.h"

#include <tbb/parallel_for.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

namespace plateloom::stitch {

namespace {

using calib::Vector2d;

// In the seam's unit (see overview.cpp), for each halving of the resolution.
constexpr float kCoarserCost = 0.05f;

// Pixels per radian where the lens maps a pixel to a ray, else 0.
double densityAt(const calib::LensMap& lens, const Vector2d& px) {
    constexpr double kStep_px = 0.25;
    const auto left = lens.rayFromRecorded(px - Vector2d(kStep_px, 0));
    const auto right = lens.rayFromRecorded(px + Vector2d(kStep_px, 0));
    const auto above = lens.rayFromRecorded(px - Vector2d(0, kStep_px));
    const auto below = lens.rayFromRecorded(px + Vector2d(0, kStep_px));
    if (!left || !right || !above || !below) return 0;
    const double solid_angle = (*right - *left).cross(*below - *above).norm();
    return solid_angle > 0 ? 2 * kStep_px / std::sqrt(solid_angle) : 0;
}

// Every cell of a plate's part that the plate sees, with its index in the whole grid.
template <class F>
void forEachSeen(const SmallPlate& small, int grid_width, F&& use) {
    constexpr float kSeenShare = 0.5f;
    for (int y = 0; y < small.height; ++y)
        for (int x = 0; x < small.width; ++x)
            if (const size_t at = small.at(x, y); small.share[at] > kSeenShare)
                use(at, size_t(y + small.y0) * grid_width + size_t((x + small.x0) % grid_width));
}

}  // namespace

PixelDensity::PixelDensity(const calib::LensMap& lens)
    : width_px_(float(lens.sensor().width_px)), height_px_(float(lens.sensor().height_px)) {
    const auto axis = lens.recordedFromRay(calib::Vector3d::UnitY());
    const double most = axis ? densityAt(lens, *axis) : 0;
    for (int j = 0; j <= kSteps; ++j)
        for (int i = 0; i <= kSteps; ++i) {
            const double here =
                densityAt(lens, {double(i) * width_px_ / kSteps, double(j) * height_px_ / kSteps});
            nodes_.push_back(float(most > 0 ? std::min(here, most) : here));
        }
}

float PixelDensity::at(float x_px, float y_px) const {
    const float u = std::clamp(x_px / width_px_, 0.0f, 1.0f) * kSteps;
    const float v = std::clamp(y_px / height_px_, 0.0f, 1.0f) * kSteps;
    const int i = std::min(int(u), kSteps - 1), j = std::min(int(v), kSteps - 1);
    const float fx = u - float(i), fy = v - float(j);
    const float* node = &nodes_[size_t(j) * (kSteps + 1) + size_t(i)];
    const float above = node[0] + fx * (node[1] - node[0]);
    const float below = node[kSteps + 1] + fx * (node[kSteps + 2] - node[kSteps + 1]);
    return above + fy * (below - above);
}

void addLackingMerit(const std::vector<CellMerits>& merits, Overview& overview) {
    const int width = overview.grid.width;
    std::vector<float> best(size_t(width) * overview.grid.height, 0.0f);
    for (size_t i = 0; i < merits.size(); ++i)
        forEachSeen(overview.plates[i], width, [&](size_t at, size_t cell) {
            best[cell] = std::max(best[cell], merits[i].density[at]);
        });
    tbb::parallel_for(size_t(0), merits.size(), [&](size_t i) {
        auto& small = overview.plates[i];
        forEachSeen(small, width, [&](size_t at, size_t cell) {
            const float density = merits[i].density[at];
            if (density > 0 && density < best[cell])
                small.cost[at] += kCoarserCost * std::log2(best[cell] / density);
        });
    });
}

}  // namespace plateloom::stitch
