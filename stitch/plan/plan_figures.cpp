#include "stitch/plan/plan_figures.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "calib/angle.h"
#include "stitch/compose/compose.h"

namespace plateloom::stitch {

using calib::kPi;
using calib::kRadPerDeg;

double hyperfocal_m(double focal_mm, double f_stop, double circle_mm) {
    return (focal_mm * focal_mm / (f_stop * circle_mm) + focal_mm) * 1e-3;
}

double stopOfHyperfocal(double focal_mm, double hyperfocal_m, double circle_mm) {
    return focal_mm * focal_mm / (circle_mm * (hyperfocal_m * 1e3 - focal_mm));
}

double pupilTolerance_mm(double turn_deg, double distance_m, double angle_rad) {
    const double chord = 2 * std::sin(0.5 * turn_deg * kRadPerDeg);
    if (chord <= 0) return std::numeric_limits<double>::infinity();
    return angle_rad * distance_m * 1e3 / chord;
}

double bandShare(double tilt_from_deg, double tilt_to_deg, double span_deg) {
    return 0.5 * (std::sin(tilt_to_deg * kRadPerDeg) - std::sin(tilt_from_deg * kRadPerDeg)) *
           span_deg / 360;
}

PlanFigures figuresOf(const Plan& plan, const PlanWish& wish, const PlanTerms& terms) {
    PlanFigures out;
    const calib::Sensor& sensor = wish.lens.sensor();
    const double focal_mm = wish.lens.lens().focal_mm;
    PlacedPlate plate;
    plate.lens = wish.lens;
    out.panorama_width = nativeWidth({plate});
    out.panorama_height = out.panorama_width / 2;
    out.panorama_bytes = 8.0 * out.panorama_width * out.panorama_height;
    out.plate_bytes = 6.0 * sensor.width_px * sensor.height_px;
    out.shoot_bytes = out.plate_bytes * double(plan.shots.size());
    out.minute_bytes = out.plate_bytes * terms.frames_per_second * 60;
    out.cover_share =
        bandShare(wish.nadir ? -90 : wish.tilt_from_deg, wish.zenith ? 90 : wish.tilt_to_deg,
                  wish.pan_to_deg - wish.pan_from_deg);

    const double pixel_rad = 2 * kPi / out.panorama_width;
    out.circle_mm = focal_mm * pixel_rad;
    out.hyperfocal_m = hyperfocal_m(focal_mm, terms.f_stop, out.circle_mm);
    out.near_limit_m = 0.5 * out.hyperfocal_m;

    const calib::Vector3d forward(0, 1, 0);
    for (const ShotPair& pair : plan.proof.pairs) {
        const auto axis = [&](int shot) {
            return calib::Vector3d(calib::worldFromCamera(plan.shots[size_t(shot)].pose) * forward);
        };
        const double cosine = std::clamp(axis(pair.a).dot(axis(pair.b)), -1.0, 1.0);
        out.widest_turn_deg = std::max(out.widest_turn_deg, std::acos(cosine) * calib::kDegPerRad);
    }
    out.pupil_mm_per_m = pupilTolerance_mm(out.widest_turn_deg, 1, pixel_rad);
    if (terms.nearest_m) {
        out.pupil_mm = out.pupil_mm_per_m * *terms.nearest_m;
        if (*terms.nearest_m<out.near_limit_m&& * terms.nearest_m * 2e3> focal_mm)
            out.stop_for_nearest = stopOfHyperfocal(focal_mm, 2 * *terms.nearest_m, out.circle_mm);
    }
    return out;
}

}  // namespace plateloom::stitch
