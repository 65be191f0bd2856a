#include "calib/frame_outline.h"

#include <algorithm>
#include <cmath>

#include "calib/angle.h"

namespace plateloom::calib {

namespace {

constexpr double kFurthest = 600;  // flat units: 89.9 degrees from the axis
constexpr double kNever = 1e300;   // nearness of a border that lies at the axis itself

bool recorded(const LensMap& lens, double u, double v) {
    const auto px = lens.recordedFromRay(Vector3d(u, 1, v).normalized());
    return px && lens.inPicture(*px);
}

// The first place along a direction where the picture ends, in lengths of `along`.
double reachAlong(const LensMap& lens, const Vector2d& along) {
    const auto inside = [&](double r) { return recorded(lens, r * along.x(), r * along.y()); };
    double low = 0, high = 0.02;
    while (high < kFurthest && inside(high)) low = high, high *= 1.25;
    for (int i = 0; i < 44 && high - low > 1e-10 * high; ++i) {
        const double middle = 0.5 * (low + high);
        (inside(middle) ? low : high) = middle;
    }
    return low;
}

}  // namespace

Vector2d FrameOutline::direction(int i) {
    const int quarter = kDirections / 4;
    const double f = double(i % quarter) / quarter;
    switch (i / quarter % 4) {
        case 0:
            return {1 - f, f};
        case 1:
            return {-f, 1 - f};
        case 2:
            return {f - 1, -f};
        default:
            return {f, f - 1};
    }
}

FrameOutline::FrameOutline(const LensMap& lens) : nearness_(kDirections + 1, kNever) {
    if (!recorded(lens, 0, 0)) return;
    for (int i = 0; i < kDirections; ++i) {
        const double reach = reachAlong(lens, direction(i));
        if (!(reach > 0)) continue;
        nearness_[size_t(i)] = 1 / reach;
        widest_ = std::max(widest_, reach * direction(i).norm());
    }
    nearness_[kDirections] = nearness_[0];
}

double FrameOutline::across_deg() const {
    return (std::atan(1 / nearness_[0]) + std::atan(1 / nearness_[kDirections / 2])) * kDegPerRad;
}

double FrameOutline::upright_deg() const {
    return (std::atan(1 / nearness_[kDirections / 4]) +
            std::atan(1 / nearness_[kDirections * 3 / 4])) *
           kDegPerRad;
}

double FrameOutline::reach_deg() const {
    return std::atan(widest_) * kDegPerRad;
}

std::vector<Vector3d> raysOverPicture(const LensMap& lens, int count) {
    constexpr double kGolden = 0.61803398874989484820;
    std::vector<Vector3d> rays;
    rays.reserve(size_t(count));
    for (int i = 0; i < count; ++i) {
        const double turn = i * kGolden;
        const Vector2d px((i + 0.5) / count * lens.sensor().width_px,
                          (turn - std::floor(turn)) * lens.sensor().height_px);
        if (const auto ray = lens.rayFromRecorded(px)) rays.push_back(*ray);
    }
    return rays;
}

}  // namespace plateloom::calib
