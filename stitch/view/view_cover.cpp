#include "stitch/view/view_cover.h"

#include <algorithm>
#include <cmath>

namespace plateloom::stitch {

namespace {

constexpr uint16_t kHalfOne = 0x3c00;

// Half the width of the tent that coverage is averaged with: one output pixel.
float reachOf(float scale) {
    return std::clamp(scale, 1.0f, 64.0f);
}

float tent(float distance, float reach) {
    return std::max(0.0f, 1 - std::abs(distance) / reach);
}

}  // namespace

void CoverPlane::take(io::PlatePixels& region) {
    width_ = region.width;
    height_ = region.height;
    alpha_.clear();
    const size_t count = size_t(width_) * size_t(height_);
    const auto isOne = [&](size_t i) {
        return region.isHalf() ? region.half[4 * i + 3] == kHalfOne : region.full[4 * i + 3] == 1;
    };
    size_t i = 0;
    while (i < count && isOne(i)) ++i;
    if (i == count) return;
    alpha_.resize(count);
    for (i = 0; i < count; ++i) {
        const float alpha =
            region.isHalf() ? io::floatFromHalf(region.half[4 * i + 3]) : region.full[4 * i + 3];
        alpha_[i] = alpha;
        if (alpha == 0 || alpha == 1) continue;
        if (region.isHalf())
            region.half[4 * i + 3] = kHalfOne;
        else
            region.full[4 * i + 3] = 1;
    }
}

CoverPlane::Cover CoverPlane::at(const SamplePoint& point) const {
    const float reach_x = reachOf(point.scale_x), reach_y = reachOf(point.scale_y);
    const int x0 = std::max(0, int(std::floor(point.x - reach_x)));
    const int x1 = std::min(width_ - 1, int(std::ceil(point.x + reach_x)) - 1);
    const int y0 = std::max(0, int(std::floor(point.y - reach_y)));
    const int y1 = std::min(height_ - 1, int(std::ceil(point.y + reach_y)) - 1);
    float weight = 0, valid = 0, alpha = 0;
    for (int y = y0; y <= y1; ++y) {
        const float wy = tent(float(y) + 0.5f - point.y, reach_y);
        for (int x = x0; x <= x1; ++x) {
            const float w = wy * tent(float(x) + 0.5f - point.x, reach_x);
            const float here = alpha_[size_t(y) * size_t(width_) + size_t(x)];
            weight += w;
            if (here > 0) valid += w;
            alpha += w * here;
        }
    }
    if (!(valid > 0)) return {0, 0};
    return {valid / weight, alpha / valid};
}

void CoverPlane::apply(const SamplePoint* points, size_t count, float* rgba) const {
    if (alpha_.empty()) return;
    for (size_t i = 0; i < count; ++i, rgba += 4) {
        if (rgba[3] == 0) continue;
        const Cover cover = at(points[i]);
        const float edge = std::clamp(2 * cover.valid - 1, 0.0f, 1.0f);
        for (int c = 0; c < 3; ++c) rgba[c] *= edge;
        rgba[3] = edge * cover.alpha;
    }
}

}  // namespace plateloom::stitch
