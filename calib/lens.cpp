#include "calib/lens.h"

#include <Eigen/LU>
#include <algorithm>
#include <cstdio>
#include <limits>
#include <vector>

#include "calib/first_zero.h"
#include "calib/said.h"

namespace plateloom::calib {

namespace {

// How far beyond the frame's half diagonal the polynomial is looked at. Rays beyond it are 80
// degrees and more off axis for any lens that a flat picture can show.
constexpr double kReach = 8.0;

struct Radial {
    double value;  // r R(r)
    double slope;  // d(r R)/dr
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
    return {r * R, R + 2.0 * s * R_ds};
}

using Polynomial = std::vector<double>;  // coefficients of 1, x, x² ...

Polynomial product(const Polynomial& a, const Polynomial& b) {
    Polynomial out(a.size() + b.size() - 1, 0.0);
    for (size_t i = 0; i < a.size(); ++i)
        for (size_t j = 0; j < b.size(); ++j) out[i + j] += a[i] * b[j];
    return out;
}

// p(r²) - factor r q(r²).
Polynomial inRadius(const Polynomial& p, double factor, const Polynomial& q) {
    Polynomial out(2 * std::max(p.size(), q.size() + 1), 0.0);
    for (size_t i = 0; i < p.size(); ++i) out[2 * i] += p[i];
    for (size_t i = 0; i < q.size(); ++i) out[2 * i + 1] -= factor * q[i];
    return out;
}

// The radius up to which U is one-to-one, at most `reach`.
//
// U's Jacobian is symmetric: along and across the radius it is diag(d(rR)/dr, R), and the
// tangential terms add a symmetric matrix whose eigenvalues are at least -6 r |p|. While both R and
// d(rR)/dr exceed 6 r |p| it is positive definite, hence U the gradient of a strictly convex
// function on the disc, hence one-to-one. With R = A / B over s = r², and B > 0, the conditions are
// polynomials:
//     A - 6 r |p| B > 0,     A B + 2 s (A' B - A B') - 6 r |p| B² > 0
double findValidRadius(const Distortion& d, double reach) {
    const auto& k = d.radial;
    const Polynomial A{1, k[0], k[2], k[4]}, B{1, k[1], k[3], k[5]};
    const Polynomial A_s{k[0], 2 * k[2], 3 * k[4]}, B_s{k[1], 2 * k[3], 3 * k[5]};
    const double bend = 6 * std::hypot(d.tangential[0], d.tangential[1]);
    Polynomial slope = product(A, B);
    const Polynomial rise = product(A_s, B), fall = product(A, B_s);
    for (size_t i = 0; i < rise.size(); ++i) slope[i + 1] += 2 * (rise[i] - fall[i]);

    double valid = reach;
    for (const Polynomial& positive :
         {inRadius(B, 0, B), inRadius(A, bend, B), inRadius(slope, bend, product(B, B))})
        valid = std::min(valid, firstZero(positive, valid).value_or(valid));
    return valid;
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

// r with r R(r) = target, on [0, valid], where it rises: Newton inside a shrinking bracket, which
// is halved instead wherever Newton leaves it or does not halve the error (as it does beside a
// pole).
double invertRadial(const Distortion& d, double target, double valid) {
    double low = 0, high = valid, r = target < valid ? target : 0.5 * valid;
    double last_error = std::numeric_limits<double>::infinity();
    for (int i = 0; i < 100 && high - low > 1e-15 * high; ++i) {
        const Radial at = radialAt(d, r);
        const double error = at.value - target;
        if (std::abs(error) <= 1e-14 * target) return r;
        (error > 0 ? high : low) = r;
        r -= error / at.slope;
        if (!(r > low && r < high && std::abs(error) < 0.5 * last_error)) r = 0.5 * (low + high);
        last_error = std::abs(error);
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
    if (none_) {
        valid_image_mm_ = valid_radius_mm_;
        return;
    }
    // The tangential terms move a point by 3 r² |p| at most.
    const double r = valid_radius_mm_;
    const auto& p = lens.distortion.tangential;
    valid_image_mm_ = radialAt(lens.distortion, r).value + 3 * r * r * std::hypot(p[0], p[1]);
}

std::optional<Vector2d> LensMap::forward(const Vector2d& p) const {
    if (p.norm() > valid_radius_mm_) return std::nullopt;
    return brownConrady<double>(lens_.distortion, p);
}

std::optional<Vector2d> LensMap::inverse(const Vector2d& target) const {
    const double radius = target.norm();
    const bool tangential = lens_.distortion.tangential != std::array<double, 2>{};
    if (radius < 1e-15) return target;
    if (radius > valid_image_mm_) return std::nullopt;

    const double r =
        invertRadial(lens_.distortion, std::min(radius, valid_image_mm_), valid_radius_mm_);
    Vector2d p = target * (r / radius);
    if (!tangential) return p;

    // The radial answer is a near start; a halved step wherever the full one does not come closer.
    // On the valid disc the Jacobian is positive definite, so that some step always does, unless
    // the answer lies outside.
    Vector2d error = brownConrady<double>(lens_.distortion, p) - target;
    const double done = 1e-13 * (1.0 + radius);
    for (int i = 0; i < 40 && error.norm() > done; ++i) {
        const Eigen::Matrix2d J = jacobian(lens_.distortion, p);
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
    if (error.norm() > 1e-11 * (1.0 + radius)) return std::nullopt;
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

namespace {

// The least share of the light that arrives anywhere up to a radius, and where.
struct Darkest {
    double transmission, r_mm;
};

Darkest darkest(const Shading& shading, double reach_mm) {
    // The ends, and where the derivative a1 + 2 a2 s + 3 a3 s² is zero, s = r².
    const double end = reach_mm * reach_mm;
    std::vector<double> s{0, end};
    const double a = 3 * shading.a3, b = 2 * shading.a2, c = shading.a1;
    const double q = -0.5 * (b + std::copysign(std::sqrt(std::max(0.0, b * b - 4 * a * c)), b));
    if (a != 0) s.push_back(q / a);
    if (q != 0) s.push_back(c / q);
    Darkest out{1, 0};
    for (const double at : s)
        if (at >= 0 && at <= end && shading.transmission(at) < out.transmission)
            out = {shading.transmission(at), std::sqrt(at)};
    return out;
}

}  // namespace

std::optional<std::string> faultOf(const Lens& lens, const Sensor& sensor) {
    const auto& d = lens.distortion;
    if (!(sensor.width_mm > 0 && sensor.height_mm > 0 && sensor.width_px > 0 &&
          sensor.height_px > 0))
        return "the sensor has no size";
    if (!(lens.focal_mm > 0) || !std::isfinite(lens.focal_mm))
        return "the focal length is not above 0";
    double sum = lens.distortion_offset_mm.sum() + lens.projection_offset_mm.sum() +
                 lens.shading.a1 + lens.shading.a2 + lens.shading.a3;
    for (const double k : d.radial) sum += k;
    for (const double p : d.tangential) sum += p;
    if (!std::isfinite(sum)) return "a coefficient is not a finite number";

    // Where the map is valid is a disc round the distortion centre (D-U), or what such a disc maps
    // to (U-D); the frame's edge and its inside are looked at, since the centre may lie anywhere.
    const LensMap map(lens, sensor);
    constexpr int kSteps = 32;
    double folded_mm = std::numeric_limits<double>::infinity(), reach_mm = 0;
    for (int j = 0; j <= kSteps; ++j)
        for (int i = 0; i <= kSteps; ++i) {
            const Vector2d px(double(i) / kSteps * sensor.width_px,
                              double(j) / kSteps * sensor.height_px);
            const Vector2d mm = mmFromPixel(sensor, px);
            const auto flat = map.flatFromRecorded_mm(mm);
            if (!flat) folded_mm = std::min(folded_mm, mm.norm());
            if (flat) reach_mm = std::max(reach_mm, flat->norm());
        }
    if (std::isfinite(folded_mm))
        return said("its distortion folds inside the frame, %.2f mm from the centre", folded_mm);
    // No lens with a polynomial stretches its frame so; a coefficient of another unit does.
    constexpr double kMostStretch = 1000;
    const double stretch = reach_mm / sensor.halfDiagonal_mm();
    if (!(stretch < kMostStretch && stretch > 1 / kMostStretch))
        return said(
            "its distortion makes the flat frame %.3g times the recorded one; check the unit of "
            "its coefficients, which is millimetres of the sensor: k1 in 1/mm^2, k2 in 1/mm^4",
            stretch);
    const Darkest dark = darkest(lens.shading, sensor.halfDiagonal_mm());
    if (!(dark.transmission > 0))
        return said(
            "its exposure falloff reaches zero inside the frame, at %.2f mm from the centre",
            dark.r_mm);
    return std::nullopt;
}

LensOnSensor lensFromOpenCv(const OpenCvCamera& camera, double width_mm) {
    LensOnSensor out;
    const auto& c = camera.coefficients;
    const double mm_x = width_mm / camera.width_px;
    const double mm_y = mm_x * camera.fx / camera.fy;
    out.sensor = {width_mm, mm_y * camera.height_px, camera.width_px, camera.height_px};
    const double F = camera.fx * mm_x, F2 = F * F;
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
    out.lens.projection_offset_mm = {mm_x * (camera.cx + 0.5 - 0.5 * camera.width_px),
                                     mm_y * (camera.cy + 0.5 - 0.5 * camera.height_px)};
    return out;
}

}  // namespace plateloom::calib
