#include "stitch/patch_registration.h"

#include <Eigen/LU>
#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>

namespace plateloom::stitch {

namespace {

constexpr int kMostPatch_px = 31;
constexpr int kMostSamples = (kMostPatch_px + 2) * (kMostPatch_px + 2);

// Noise that went through the kernel is alike in neighbouring pixels, so the residual's spread
// understates what it does to a slow gradient: the kernel's squared weights add up to 1/4 (two
// axes of 1/2) on whole pixels and somewhat less between them.
constexpr double kNoiseBandwidth = 4.5;

// Uniform cubic B-spline weights for the four pixels round a position, `t` past the second.
inline void splineWeights(float t, float w[4]) {
    const float s = 1 - t, t2 = t * t, s2 = s * s;
    w[0] = s2 * s * (1.0f / 6);
    w[1] = (4 - 3 * t2 * (2 - t)) * (1.0f / 6);
    w[2] = (4 - 3 * s2 * (2 - s)) * (1.0f / 6);
    w[3] = t2 * t * (1.0f / 6);
}

inline float sampleAt(const cv::Mat& picture, float x, float y) {
    const float u = x - 0.5f, v = y - 0.5f;
    const int i = int(std::floor(u)), j = int(std::floor(v));
    float wx[4], wy[4];
    splineWeights(u - float(i), wx);
    splineWeights(v - float(j), wy);
    const size_t stride = picture.step1();
    const float* p = picture.ptr<float>(j - 1) + i - 1;
    float sum = 0;
    for (int k = 0; k < 4; ++k, p += stride) {
        sum += wy[k] * (wx[0] * p[0] + wx[1] * p[1] + wx[2] * p[2] + wx[3] * p[3]);
    }
    return sum;
}

// Samples of a square grid of `edge` steps, mapped by `map` about `centre`.
void samplePatch(const cv::Mat& picture, const Vector2d& centre, const Matrix2d& map, int edge,
                 float* out) {
    const double middle = 0.5 * (edge - 1);
    for (int v = 0; v < edge; ++v) {
        const Vector2d row = centre + map * Vector2d(-middle, v - middle);
        const float x0 = float(row.x()), y0 = float(row.y());
        const float dx = float(map(0, 0)), dy = float(map(1, 0));
        for (int u = 0; u < edge; ++u) {
            out[v * edge + u] = sampleAt(picture, x0 + dx * float(u), y0 + dy * float(u));
        }
    }
}

// Half the extent of the mapped patch, with the kernel's own taps.
bool fits(const cv::Mat& picture, const Vector2d& centre, const Matrix2d& map, int edge) {
    const double half = 0.5 * edge;
    const Vector2d extent = half * map.cwiseAbs() * Vector2d(1, 1) + Vector2d(2.5, 2.5);
    return centre.x() - extent.x() > 0 && centre.y() - extent.y() > 0 &&
           centre.x() + extent.x() < picture.cols && centre.y() + extent.y() < picture.rows;
}

// The patch, ready: its gradients freed of whatever gain and offset could explain, so that a dot
// product with the other picture's samples gives the shift at once.
struct Template {
    int samples = 0;
    std::array<float, kMostSamples> value, slope_x, slope_y;  // value: mean 0
    double energy = 0;                                        // sum of value²
    Matrix2d hessian = Matrix2d::Zero();
};

void makeTemplate(const cv::Mat& picture, const Vector2d& px, int edge, Template& out) {
    const int wide = edge + 2;
    std::array<float, kMostSamples> raw;
    samplePatch(picture, px, Matrix2d::Identity(), wide, raw.data());
    out.samples = edge * edge;
    double mean = 0, mean_x = 0, mean_y = 0;
    for (int v = 0, n = 0; v < edge; ++v) {
        for (int u = 0; u < edge; ++u, ++n) {
            const float* p = &raw[size_t(v + 1) * wide + u + 1];
            out.value[n] = p[0];
            out.slope_x[n] = 0.5f * (p[1] - p[-1]);
            out.slope_y[n] = 0.5f * (p[wide] - p[-wide]);
            mean += out.value[n], mean_x += out.slope_x[n], mean_y += out.slope_y[n];
        }
    }
    mean /= out.samples, mean_x /= out.samples, mean_y /= out.samples;
    double energy = 0, with_x = 0, with_y = 0;
    for (int n = 0; n < out.samples; ++n) {
        out.value[n] -= float(mean);
        out.slope_x[n] -= float(mean_x), out.slope_y[n] -= float(mean_y);
        energy += out.value[n] * out.value[n];
        with_x += out.value[n] * out.slope_x[n], with_y += out.value[n] * out.slope_y[n];
    }
    out.energy = energy;
    const float share_x = energy > 0 ? float(with_x / energy) : 0;
    const float share_y = energy > 0 ? float(with_y / energy) : 0;
    double xx = 0, xy = 0, yy = 0;
    for (int n = 0; n < out.samples; ++n) {
        const float x = out.slope_x[n] -= share_x * out.value[n];
        const float y = out.slope_y[n] -= share_y * out.value[n];
        xx += x * x, xy += x * y, yy += y * y;
    }
    out.hessian << xx, xy, xy, yy;
}

struct Comparison {
    Vector2d slope = Vector2d::Zero();  // sum of slopes times the other's samples
    double gain = 0, correlation = 0, residual2 = 0;
};

Comparison compare(const Template& patch, const float* other) {
    double sum = 0, square = 0, cross = 0, x = 0, y = 0;
    for (int n = 0; n < patch.samples; ++n) {
        const float value = other[n];
        sum += value;
        cross += patch.value[n] * value;
        x += patch.slope_x[n] * value, y += patch.slope_y[n] * value;
    }
    const double mean = sum / patch.samples;
    for (int n = 0; n < patch.samples; ++n) square += (other[n] - mean) * (other[n] - mean);
    Comparison out;
    out.slope = {x, y};
    out.gain = cross / patch.energy;
    out.correlation = square > 0 ? cross / std::sqrt(square * patch.energy) : 0;
    out.residual2 = std::max(0.0, square - out.gain * cross);
    return out;
}

}  // namespace

std::optional<Registration> registerPatch(const cv::Mat& picture, const Vector2d& px,
                                          const cv::Mat& other, const Vector2d& start,
                                          const Matrix2d& otherFromPicture,
                                          const PatchSettings& settings) {
    constexpr int kMostRounds = 20;
    constexpr double kStill_px = 5e-4, kLeastGain = 0.2, kMostGain = 5.0;
    const int edge = settings.patch_px;
    assert(edge % 2 == 1 && edge <= kMostPatch_px && picture.type() == CV_32F);
    if (!fits(picture, px, Matrix2d::Identity(), edge + 2)) return std::nullopt;
    Template patch;
    makeTemplate(picture, px, edge, patch);
    const double determinant = patch.hessian.determinant();
    if (!(determinant > 1e-9 * patch.hessian.squaredNorm()) || !(patch.energy > 0))
        return std::nullopt;
    const Matrix2d inverse = patch.hessian.inverse();

    Vector2d at = start;
    std::array<float, kMostSamples> samples;
    for (int round = 0; round < kMostRounds; ++round) {
        if ((at - start).norm() > settings.reach_px || !fits(other, at, otherFromPicture, edge))
            return std::nullopt;
        samplePatch(other, at, otherFromPicture, edge, samples.data());
        const Comparison seen = compare(patch, samples.data());
        if (!(seen.gain > kLeastGain && seen.gain < kMostGain)) return std::nullopt;
        const Vector2d shift = inverse * seen.slope / seen.gain;
        // Steps beyond a pixel leave the linear range: shortened, they still lead there.
        const double length = shift.norm();
        const Vector2d step = length > 1.0 ? Vector2d(shift / length) : shift;
        at -= otherFromPicture * step;
        if (length > kStill_px) continue;
        if (seen.correlation < settings.least_correlation) return std::nullopt;
        const double variance = seen.residual2 / (patch.samples - 4) / (seen.gain * seen.gain);
        const Matrix2d covariance = kNoiseBandwidth * variance *
                                    (otherFromPicture * inverse * otherFromPicture.transpose());
        return Registration{at, seen.correlation, std::sqrt(0.5 * covariance.trace())};
    }
    return std::nullopt;
}

}  // namespace plateloom::stitch
