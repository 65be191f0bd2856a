#include "stitch/resample/bright_sum.h"

#include <algorithm>
#include <cmath>

namespace plateloom::stitch {

namespace {

constexpr double kRounding = 0.7;
constexpr int kTile = BrightLight::kTile;

double halfSquare(double x) {
    return x > 0 ? 0.5 * x * x : 0;
}

// The integral up to `x` of boxes of h and 0.7 h convolved: second differences of x^2 / 2.
double integral(double x, double h) {
    const double c = kRounding * h, outer = 0.5 * (h + c), inner = 0.5 * (h - c);
    return (halfSquare(x + outer) - halfSquare(x + inner) - halfSquare(x - inner) +
            halfSquare(x - outer)) /
           (h * c);
}

}  // namespace

int areaReach(float scale) {
    return int(std::ceil(0.5 + 0.5 * (1 + kRounding) * double(std::max(1.0f, scale))));
}

void AreaWeights::place(float position, float scale, int size) {
    const double h = std::max(1.0, double(scale));
    const int reach = areaReach(scale), middle = int(std::floor(position));
    const int begin = middle - reach;
    first = std::clamp(begin, 0, size - 1);
    const int last = std::clamp(middle + reach, 0, size - 1);
    weight.assign(size_t(last - first + 1), 0.0f);
    // The pixel's own box: the integral's step across it.
    double before = integral(begin - double(position), h);
    for (int k = begin; k <= middle + reach; ++k) {
        const double after = integral(k + 1 - double(position), h);
        weight[size_t(std::clamp(k, first, last) - first)] += float(after - before);
        before = after;
    }
}

void BrightSum::add(const SamplePoint& point, float* rgba) {
    const int reach_x = areaReach(point.scale_x), reach_y = areaReach(point.scale_y);
    const int x = int(std::floor(point.x)), y = int(std::floor(point.y));
    if (!bright_.isIn(x - reach_x, y - reach_y, x + reach_x + 1, y + reach_y + 1)) return;
    x_.place(point.x, point.scale_x, width_);
    y_.place(point.y, point.scale_y, height_);
    float sum[4] = {0, 0, 0, 0};
    for (int ty = y_.first / kTile; ty <= (y_.end() - 1) / kTile; ++ty)
        for (int tx = x_.first / kTile; tx <= (x_.end() - 1) / kTile; ++tx) addTile(tx, ty, sum);
    for (int c = 0; c < 3; ++c) rgba[c] += sum[c];
}

void BrightSum::addTile(int tx, int ty, float* sum) const {
    const float* tile = bright_.tileAt(tx, ty);
    if (!tile) return;
    const int x0 = std::max(x_.first, tx * kTile), x1 = std::min(x_.end(), (tx + 1) * kTile);
    const int y0 = std::max(y_.first, ty * kTile), y1 = std::min(y_.end(), (ty + 1) * kTile);
    for (int y = y0; y < y1; ++y) {
        const float* row = tile + (y - ty * kTile) * kTile * 4;
        float across[4] = {0, 0, 0, 0};
        for (int x = x0; x < x1; ++x) {
            const float weight = x_.weight[size_t(x - x_.first)];
            for (int c = 0; c < 4; ++c) across[c] += weight * row[(x - tx * kTile) * 4 + c];
        }
        const float weight = y_.weight[size_t(y - y_.first)];
        for (int c = 0; c < 4; ++c) sum[c] += weight * across[c];
    }
}

}  // namespace plateloom::stitch
