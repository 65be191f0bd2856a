#include "calib/lens.h"

#include <Eigen/LU>
#include <cstdio>
#include <limits>

namespace plateloom::calib {

namespace {

// How far beyond the frame's half diagonal the polynomial is looked at. Rays beyond it are 80
// degrees and more off axis for any lens that a flat picture can show.
constexpr double kReach = 8.0;

struct Radial {
    double value;  // r R(r)
    double slope;  // d(r R)/dr
    double below;  // the denominator: must stay above zero
};

Radial radialAt(const Distortion& d, double r) {
    const auto& k = d.radial;
    const double s = r * r;
    const double above = 1.0 + s * (k[0] + s * (k[2] + s * k[4]));
    const double below = 1.0 + s * (k[1] + s * (k[3] + s * k[5]));
    const double above_ds = k[0] + s * (2.0 * k[2] + s * 3.0 * k[4]);
    const double below_ds = k[1] + s * (2.0 * k[3] + s * 3.0 * k[5]);
    const double R = above / below;
    const double R_ds = (above_ds - R * below_ds) / below;
    return {r * R, R + 2.0 * s * R_ds, below};
}

bool monotoneAt(const Distortion& d, double r) {
    const Radial at = radialAt(d, r);
    return at.below > 0 && at.slope > 0;
}

// The first radius at which r R(r) stops rising, or `reach`.
double findValidRadius(const Distortion& d, double reach) {
    constexpr int kSteps = 2048;
    double good = 0;
    for (int i = 1; i <= kSteps; ++i) {
        double r = reach * i / kSteps;
        if (monotoneAt(d, r)) {
            good = r;
            continue;
        }
        for (int bisect = 0; bisect < 60; ++bisect) {
            const double middle = 0.5 * (good + r);
            (monotoneAt(d, middle) ? good : r) = middle;
        }
        return good;
    }
    return reach;
}

Eigen::Matrix2d jacobian(const Distortion& d, const Vector2d& p) {
    const double r = p.norm();
    const Radial at = radialAt(d, r);
    Eigen::Matrix2d J;
    if (r < 1e-12) {
        J.setIdentity();
    } else {
        const Vector2d u = p / r;
        J = (at.value / r) * Eigen::Matrix2d::Identity() +
            (at.slope - at.value / r) * u * u.transpose();
    }
    const double p1 = d.tangential[0], p2 = d.tangential[1], x = p.x(), y = p.y();
    J(0, 0) += 2 * p1 * y + 6 * p2 * x;
    J(0, 1) += 2 * p1 * x + 2 * p2 * y;
    J(1, 0) += 2 * p2 * y + 2 * p1 * x;
    J(1, 1) += 2 * p2 * x + 6 * p1 * y;
    return J;
}

// r with r R(r) = target, on [0, valid], by Newton kept inside a shrinking bracket.
double invertRadial(const Distortion& d, double target, double valid) {
    double low = 0, high = valid, r = std::min(target, valid);
    for (int i = 0; i < 60 && high - low > 1e-13 * (1.0 + high); ++i) {
        const Radial at = radialAt(d, r);
        const double error = at.value - target;
        (error > 0 ? high : low) = r;
        double next = r - error / at.slope;
        if (!(next > low && next < high)) next = 0.5 * (low + high);
        if (std::abs(next - r) < 1e-14 * (1.0 + r)) return next;
        r = next;
    }
    return r;
}

}  // namespace

LensMap::LensMap(const Lens& lens, const Sensor& sensor) : lens_(lens), sensor_(sensor) {
    centre_mm_ = lens.distortion_offset_mm + lens.projection_offset_mm;
    none_ = lens.distortion.isNone();
    const double reach = kReach * (sensor.halfDiagonal_mm() + centre_mm_.norm());
    valid_radius_mm_ =
        none_ ? std::numeric_limits<double>::infinity() : findValidRadius(lens.distortion, reach);
    valid_image_mm_ = none_ ? valid_radius_mm_ : radialAt(lens.distortion, valid_radius_mm_).value;
}

std::optional<Vector2d> LensMap::forward(const Vector2d& p) const {
    if (p.norm() > valid_radius_mm_) return std::nullopt;
    return brownConrady<double>(lens_.distortion, p);
}

std::optional<Vector2d> LensMap::inverse(const Vector2d& target) const {
    const double radius = target.norm();
    const bool tangential = lens_.distortion.tangential != std::array<double, 2>{};
    if (radius < 1e-15) return Vector2d::Zero();
    if (!tangential && radius > valid_image_mm_) return std::nullopt;

    const double r =
        invertRadial(lens_.distortion, std::min(radius, valid_image_mm_), valid_radius_mm_);
    Vector2d p = target * (r / radius);
    if (!tangential) return p;

    // The radial answer is a near start; a halved step wherever the full one does not come closer.
    Vector2d error = brownConrady<double>(lens_.distortion, p) - target;
    const double done = 1e-13 * (1.0 + radius);
    for (int i = 0; i < 40 && error.norm() > done; ++i) {
        const Eigen::Matrix2d J = jacobian(lens_.distortion, p);
        if (J.determinant() <= 0) return std::nullopt;
        const Vector2d step = J.inverse() * error;
        double share = 1.0;
        for (; share > 1e-6; share *= 0.5) {
            const Vector2d trial = p - share * step;
            if (trial.norm() > valid_radius_mm_) continue;
            const Vector2d trial_error = brownConrady<double>(lens_.distortion, trial) - target;
            if (trial_error.norm() < error.norm()) {
                p = trial;
                error = trial_error;
                break;
            }
        }
        if (share <= 1e-6) break;
    }
    if (error.norm() > 1e-11 * (1.0 + radius) || jacobian(lens_.distortion, p).determinant() <= 0)
        return std::nullopt;
    return p;
}

std::optional<Vector2d> LensMap::flatFromRecorded_mm(const Vector2d& recorded_mm) const {
    if (none_) return recorded_mm;
    const Vector2d p = recorded_mm - centre_mm_;
    const bool closed = lens_.distortion.direction == DistortionDirection::recorded_to_flat;
    const auto flat = closed ? forward(p) : inverse(p);
    if (!flat) return std::nullopt;
    return *flat + centre_mm_;
}

std::optional<Vector2d> LensMap::recordedFromFlat_mm(const Vector2d& flat_mm) const {
    if (none_) return flat_mm;
    const Vector2d p = flat_mm - centre_mm_;
    const bool closed = lens_.distortion.direction == DistortionDirection::flat_to_recorded;
    const auto recorded = closed ? forward(p) : inverse(p);
    if (!recorded) return std::nullopt;
    return *recorded + centre_mm_;
}

Vector3d LensMap::rayFromFlat(const Vector2d& flat_px) const {
    const Vector2d mm = mmFromPixel(sensor_, flat_px) - lens_.projection_offset_mm;
    return Vector3d(mm.x() / lens_.focal_mm, 1.0, -mm.y() / lens_.focal_mm).normalized();
}

std::optional<Vector2d> LensMap::flatFromRay(const Vector3d& ray) const {
    if (ray.y() <= 1e-9 * ray.norm()) return std::nullopt;
    const Vector2d mm(lens_.focal_mm * ray.x() / ray.y(), -lens_.focal_mm * ray.z() / ray.y());
    return pixelFromMm(sensor_, mm + lens_.projection_offset_mm);
}

std::optional<Vector3d> LensMap::rayFromRecorded(const Vector2d& recorded_px) const {
    const auto flat_mm = flatFromRecorded_mm(mmFromPixel(sensor_, recorded_px));
    if (!flat_mm) return std::nullopt;
    const Vector2d mm = *flat_mm - lens_.projection_offset_mm;
    return Vector3d(mm.x() / lens_.focal_mm, 1.0, -mm.y() / lens_.focal_mm).normalized();
}

std::optional<Vector2d> LensMap::recordedFromRay(const Vector3d& ray) const {
    if (ray.y() <= 1e-9 * ray.norm()) return std::nullopt;
    const Vector2d flat_mm =
        Vector2d(lens_.focal_mm * ray.x() / ray.y(), -lens_.focal_mm * ray.z() / ray.y()) +
        lens_.projection_offset_mm;
    const auto recorded_mm = recordedFromFlat_mm(flat_mm);
    if (!recorded_mm) return std::nullopt;
    return pixelFromMm(sensor_, *recorded_mm);
}

std::optional<std::string> faultOf(const Lens& lens, const Sensor& sensor) {
    const auto& d = lens.distortion;
    char text[200];
    if (!(lens.focal_mm > 0) || !std::isfinite(lens.focal_mm)) return "focal length is not above 0";
    double sum = lens.distortion_offset_mm.sum() + lens.projection_offset_mm.sum() +
                 lens.shading.a1 + lens.shading.a2 + lens.shading.a3;
    for (const double k : d.radial) sum += k;
    for (const double p : d.tangential) sum += p;
    if (!std::isfinite(sum)) return "a coefficient is not a finite number";

    const LensMap map(lens, sensor);
    constexpr int kSteps = 32;
    for (int i = 0; i <= 4 * kSteps; ++i) {  // once round the frame's edge
        const int side = std::min(i / kSteps, 3);
        const double t = double(i - side * kSteps) / kSteps;
        const Vector2d corners[5] = {{0, 0}, {1, 0}, {1, 1}, {0, 1}, {0, 0}};
        const Vector2d at = corners[side] + t * (corners[side + 1] - corners[side]);
        const Vector2d px(at.x() * sensor.width_px, at.y() * sensor.height_px);
        const Vector2d mm = mmFromPixel(sensor, px);
        const auto flat = map.flatFromRecorded_mm(mm);
        const auto p = mm - lens.distortion_offset_mm - lens.projection_offset_mm;
        const bool folds = !flat || (d.direction == DistortionDirection::recorded_to_flat &&
                                     !d.isNone() && jacobian(d, p).determinant() <= 0);
        if (folds) {
            std::snprintf(
                text, sizeof text,
                "distortion folds inside the frame (%.2f mm from its centre, at the edge)",
                mm.norm());
            return text;
        }
        if (!(map.transmission(px) > 0)) {
            std::snprintf(
                text, sizeof text,
                "exposure falloff reaches zero inside the frame (%.2f mm from its centre)",
                mm.norm());
            return text;
        }
    }
    return std::nullopt;
}

LensOnSensor lensFromOpenCv(double fx, double fy, double cx, double cy,
                            const std::array<double, 8>& c, int width_px, int height_px,
                            double width_mm) {
    LensOnSensor out;
    const double mm_x = width_mm / width_px;
    const double mm_y = mm_x * fx / fy;
    out.sensor = {width_mm, mm_y * height_px, width_px, height_px};
    const double F = fx * mm_x, F2 = F * F;
    out.lens.focal_mm = F;
    out.lens.distortion.direction = DistortionDirection::flat_to_recorded;
    // OpenCV: k1 k2 p1 p2 k3 k4 k5 k6, with k1 k2 k3 above and k4 k5 k6 below the line.
    out.lens.distortion.radial = {c[0] / F2,
                                  c[5] / F2,
                                  c[1] / (F2 * F2),
                                  c[6] / (F2 * F2),
                                  c[4] / (F2 * F2 * F2),
                                  c[7] / (F2 * F2 * F2)};
    out.lens.distortion.tangential = {c[2] / F, c[3] / F};
    out.lens.projection_offset_mm = {mm_x * (cx + 0.5 - 0.5 * width_px),
                                     mm_y * (cy + 0.5 - 0.5 * height_px)};
    return out;
}

}  // namespace plateloom::calib
