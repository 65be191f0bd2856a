#include "stitch/resample/overscan.h"

#include <algorithm>
#include <cmath>

#include "stitch/resample/flat_positions.h"

namespace plateloom::stitch {

namespace {

constexpr double kMostOverscan = 2.0;  // frames beyond each side
constexpr double kHair_px = 1e-6;      // rounding of the lens's own arithmetic

// The frame's edge bounds what falls inside it: the map folds nowhere within.
PixelBounds recordedReach(const calib::LensMap& lens) {
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
    return {int(std::floor(x0 + kHair_px)), int(std::floor(y0 + kHair_px)),
            int(std::ceil(x1 - kHair_px)), int(std::ceil(y1 - kHair_px))};
}

}  // namespace

PixelBounds wholeFrame(const calib::Sensor& sensor) {
    return {0, 0, sensor.width_px, sensor.height_px};
}

PixelBounds overscanBounds(const calib::LensMap& lens, bool* clamped, int margin_px) {
    const auto& s = lens.sensor();
    const PixelBounds reach = recordedReach(lens);
    const auto beyond = [margin_px](int overscan) { return overscan > 0 ? margin_px : 0; };
    const PixelBounds all{reach.x0 - beyond(-reach.x0), reach.y0 - beyond(-reach.y0),
                          reach.x1 + beyond(reach.x1 - s.width_px),
                          reach.y1 + beyond(reach.y1 - s.height_px)};
    const int most_x = int(kMostOverscan * s.width_px), most_y = int(kMostOverscan * s.height_px);
    const PixelBounds kept{std::max(all.x0, -most_x), std::max(all.y0, -most_y),
                           std::min(all.x1, s.width_px + most_x),
                           std::min(all.y1, s.height_px + most_y)};
    if (clamped) *clamped = kept != all;
    return kept;
}

PixelBounds enlargedFrame(const calib::Sensor& sensor, double factor) {
    const double x = 0.5 * (factor - 1) * sensor.width_px,
                 y = 0.5 * (factor - 1) * sensor.height_px;
    const int left = int(std::ceil(x - kHair_px)), up = int(std::ceil(y - kHair_px));
    return {-left, -up, sensor.width_px + left, sensor.height_px + up};
}

}  // namespace plateloom::stitch
