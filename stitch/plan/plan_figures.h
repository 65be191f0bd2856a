// What a plan means in pixels, bytes and metres.
//
// Depth of field, for a circle of confusion c on the sensor and an f-number N: focused at the
// hyperfocal distance H = f² / (N c) + f, everything from H / 2 to infinity is blurred by no more
// than c. Source: the thin-lens derivation in handbooks of photographic optics, e.g. S. F. Ray,
// Applied Photographic Optics, chapter on depth of field (from memory). Here c is what one pixel of
// the panorama covers of the sensor.
//
// Parallax: a head that turns about a place `d` before or behind the entrance pupil moves the pupil
// by 2 d sin(turn / 2) from plate to plate. Something at distance D then shifts against what lies
// far behind it by no more than that over D.
#pragma once

#include <optional>

#include "stitch/plan/plan.h"

namespace plateloom::stitch {

struct PlanTerms {
    double f_stop = 2.8;
    double frames_per_second = 24;
    std::optional<double> nearest_m;  ///< what stands nearest to the camera
};

struct PlanFigures {
    int panorama_width = 0, panorama_height = 0;  ///< at the plates' own resolution
    double panorama_bytes = 0;                    ///< half R G B A
    double plate_bytes = 0;                       ///< one frame: half R G B, not compressed
    double shoot_bytes = 0;                       ///< one frame of every plate
    double minute_bytes = 0;                      ///< one minute of one plate
    double cover_share = 0;                       ///< of the sphere, what was wanted
    double circle_mm = 0;                         ///< circle of confusion: one panorama pixel
    double hyperfocal_m = 0, near_limit_m = 0;
    std::optional<double> stop_for_nearest;  ///< f-number at which the nearest thing is sharp too
    double widest_turn_deg = 0;  ///< the largest angle between the axes of two neighbours
    double pupil_mm_per_m = 0;   ///< how far off the pupil may be, for each metre to the nearest
    std::optional<double> pupil_mm;  ///< for the nearest thing
};

[[nodiscard]] double hyperfocal_m(double focal_mm, double f_stop, double circle_mm);

/// The f-number whose hyperfocal distance is `hyperfocal_m`; it must be beyond the focal length.
[[nodiscard]] double stopOfHyperfocal(double focal_mm, double hyperfocal_m, double circle_mm);

/// Furthest that the head's axis may be from the entrance pupil so that parallax between two plates
/// `turn_deg` apart stays within `angle_rad` for a thing at `distance_m`; infinite without a turn.
[[nodiscard]] double pupilTolerance_mm(double turn_deg, double distance_m, double angle_rad);

/// Share of the sphere between two tilts and over a span of pans: zones have the area
/// 2 pi R² (sin b - sin a).
[[nodiscard]] double bandShare(double tilt_from_deg, double tilt_to_deg, double span_deg);

[[nodiscard]] PlanFigures figuresOf(const Plan& plan, const PlanWish& wish, const PlanTerms& terms);

}  // namespace plateloom::stitch
