#include "stitch/plan/row_shapes.h"

#include <algorithm>
#include <cmath>

#include "calib/angle.h"
#include "calib/pose.h"

namespace plateloom::stitch {

using calib::kDegPerRad;
using calib::kRadPerDeg;
using calib::Vector3d;

RowShapes::RowShapes(const calib::LensMap& lens, double overlap)
    : outline_(lens), overlap_(overlap) {
    // An overlap is right to about a fifth of a percent of the frame: enough to search by.
    constexpr int kSamples = 610;
    rays_ = calib::raysOverPicture(lens, kSamples);
}

// A meridian is a straight line of the flat plane and cuts the frame once: tilts from where to
// where, as far as the poles.
std::optional<RowShapes::Band> RowShapes::seenAt(double tilt_deg, double pan_deg) const {
    const double sin_t = std::sin(tilt_deg * kRadPerDeg), cos_t = std::cos(tilt_deg * kRadPerDeg);
    const double sin_p = std::sin(pan_deg * kRadPerDeg), cos_p = std::cos(pan_deg * kRadPerDeg);
    const auto sees = [&](double e_deg) {
        const double sin_e = std::sin(e_deg * kRadPerDeg), cos_e = std::cos(e_deg * kRadPerDeg);
        const double along = cos_p * cos_e;
        return outline_.contains(
            Vector3d(-sin_p * cos_e, cos_t * along + sin_t * sin_e, cos_t * sin_e - sin_t * along));
    };
    const double nearest_deg =
        std::clamp(std::atan2(sin_t, cos_t * cos_p) * kDegPerRad, -90.0, 90.0);
    const double reach_deg = outline_.reach_deg();
    const double from = std::max(-90.0, nearest_deg - reach_deg),
                 to = std::min(90.0, nearest_deg + reach_deg);
    constexpr int kSteps = 40;
    const double step = (to - from) / kSteps;
    int first = 0, last = -1;
    for (int i = 0; i <= kSteps; ++i) {
        if (!sees(from + i * step)) continue;
        if (last < first) first = i;
        last = i;
    }
    if (last < first) return std::nullopt;
    const auto edge = [&](double inside, double outside) {
        if (std::abs(outside) > 90) return std::copysign(90.0, outside);
        for (int i = 0; i < 20; ++i) {
            const double middle = 0.5 * (inside + outside);
            (sees(middle) ? inside : outside) = middle;
        }
        return inside;
    };
    return Band{edge(from + first * step, from + (first - 1) * step),
                edge(from + last * step, from + (last + 1) * step)};
}

std::optional<RowShapes::Band> RowShapes::band(double tilt_deg, double half_pan_deg) const {
    constexpr int kSteps = 6;
    Band out{-90, 90};
    for (int i = -kSteps; i <= kSteps; ++i) {
        const auto seen = seenAt(tilt_deg, half_pan_deg * i / kSteps);
        if (!seen) return std::nullopt;
        out.low_deg = std::max(out.low_deg, seen->low_deg);
        out.high_deg = std::min(out.high_deg, seen->high_deg);
    }
    if (!(out.low_deg < out.high_deg)) return std::nullopt;
    return out;
}

double RowShapes::overlap(double tilt_a_deg, double tilt_b_deg, double pan_deg) const {
    const calib::Matrix3d bFromA = calib::worldFromCamera({0, tilt_b_deg, 0}).transpose() *
                                   calib::worldFromCamera({pan_deg, tilt_a_deg, 0});
    const auto seen = std::count_if(rays_.begin(), rays_.end(), [&](const Vector3d& ray) {
        return outline_.contains(bFromA * ray);
    });
    return double(seen) / double(rays_.size());
}

double RowShapes::widest(double tilt_a_deg, double tilt_b_deg) const {
    const auto enough = [&](double pan_deg) {
        return overlap(tilt_a_deg, tilt_b_deg, pan_deg) >= overlap_;
    };
    if (!enough(0)) return -1;
    double low = 0, high = 1;
    while (high < 180 && enough(high)) low = high, high *= 2;
    if (high >= 180) {
        if (enough(180)) return 180;
        high = 180;
    }
    const double precision_deg = 0.002 * outline_.across_deg();
    while (high - low > precision_deg) {
        const double middle = 0.5 * (low + high);
        (enough(middle) ? low : high) = middle;
    }
    return low;
}

double RowShapes::widestStep_deg(double tilt_deg) const {
    return widest(tilt_deg, tilt_deg);
}

double RowShapes::widestOffset_deg(double tilt_a_deg, double tilt_b_deg) const {
    return widest(tilt_a_deg, tilt_b_deg);
}

}  // namespace plateloom::stitch
