#include "stitch/compose/plate_differences.h"

#include <algorithm>
#include <cmath>

namespace plateloom::stitch {

namespace {

constexpr float kNoise_stops = 0.1f;
constexpr float kMostDifference = 2.0f;

}  // namespace

ptrdiff_t findCell(const SmallPlate& small, int x, int y, int grid_width) {
    int dx = x - small.x0;
    if (dx < 0) dx += grid_width;
    const int dy = y - small.y0;
    if (dx >= small.width || dy < 0 || dy >= small.height) return -1;
    const auto at = ptrdiff_t(small.at(dx, dy));
    return seesCell(small, size_t(at)) ? at : -1;
}

float OverviewDifferences::at(uint16_t a, uint16_t b, int x, int y) const {
    const SmallPlate &small_a = overview_.plates[a], &small_b = overview_.plates[b];
    const ptrdiff_t at_a = findCell(small_a, x, y, overview_.grid.width);
    const ptrdiff_t at_b = findCell(small_b, x, y, overview_.grid.width);
    if (at_a < 0 || at_b < 0) return -1;
    const float* light_a = &small_a.light[3 * size_t(at_a)];
    const float* light_b = &small_b.light[3 * size_t(at_b)];
    float most = 0;
    for (size_t c = 0; c < 3; ++c)
        most =
            std::max(most, std::abs((light_a[c] - offsets_[a][c]) - (light_b[c] - offsets_[b][c])));
    return std::min(kMostDifference, most * most / (most + kNoise_stops));
}

}  // namespace plateloom::stitch
