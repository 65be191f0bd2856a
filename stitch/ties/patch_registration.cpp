#include "stitch/ties/patch_registration.h"

#include <Eigen/LU>
#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>

namespace plateloom::stitch {

namespace {

constexpr int kMostEdge = 31;
constexpr int kMostSamples = (kMostEdge + 2) * (kMostEdge + 2);
using Samples = std::array<float, kMostSamples>;

// Uniform cubic B-spline weights for the four pixels round a position, `t` past the second.
inline void splineWeights(float t, float w[4]) {
    const float s = 1 - t, t2 = t * t, s2 = s * s;
    w[0] = s2 * s * (1.0f / 6);
    w[1] = (4 - 3 * t2 * (2 - t)) * (1.0f / 6);
    w[2] = (4 - 3 * s2 * (2 - s)) * (1.0f / 6);
    w[3] = t2 * t * (1.0f / 6);
}

inline float sampleAt(const float* first, size_t stride, float x, float y) {
    const int i = int(x), j = int(y);
    float wx[4], wy[4];
    splineWeights(x - float(i), wx);
    splineWeights(y - float(j), wy);
    const float* p = first + ptrdiff_t(j - 1) * ptrdiff_t(stride) + (i - 1);
    float column[4] = {};
    for (int k = 0; k < 4; ++k) {
        for (int m = 0; m < 4; ++m) column[m] += wy[k] * p[size_t(k) * stride + size_t(m)];
    }
    return wx[0] * column[0] + wx[1] * column[1] + wx[2] * column[2] + wx[3] * column[3];
}

// Samples of the grid's inner `edge` x `edge` points, or of all of them with `margin`. The patch
// must fit.
void samplePatch(const cv::Mat& picture, const Vector2d& centre, const PatchGrid& grid, bool margin,
                 float* out) {
    const float x0 = float(centre.x() - 0.5), y0 = float(centre.y() - 0.5);
    const int wide = grid.edge + 2, skip = margin ? 0 : 1;
    const auto* first = picture.ptr<float>();
    const size_t stride = picture.step1();
    for (int v = skip; v < wide - skip; ++v) {
        const float *x = &grid.x[size_t(v) * wide], *y = &grid.y[size_t(v) * wide];
        for (int u = skip; u < wide - skip; ++u) {
            *out++ = sampleAt(first, stride, x0 + x[u], y0 + y[u]);
        }
    }
}

// With the kernel's own taps.
bool fits(const cv::Mat& picture, const Vector2d& centre, const PatchGrid& grid) {
    const double reach = grid.reach_px + 2.5;
    return centre.x() > reach && centre.y() > reach && centre.x() < picture.cols - reach &&
           centre.y() < picture.rows - reach;
}

// The patch, ready: its slopes freed of whatever gain and offset could explain, so that a dot
// product with the other picture's samples gives the shift at once.
struct Template {
    int edge = 0, samples = 0;
    Samples value, slope_x, slope_y;  // value: mean 0
    double energy = 0;                // sum of value²
    Matrix2d hessian = Matrix2d::Zero();
};

void takeOut(const Template& from, Samples& slope) {
    double mean = 0, with_value = 0;
    for (int n = 0; n < from.samples; ++n) mean += slope[n];
    for (int n = 0; n < from.samples; ++n) with_value += from.value[n] * slope[n];
    const float offset = float(mean / from.samples);
    const float share = from.energy > 0 ? float(with_value / from.energy) : 0;
    for (int n = 0; n < from.samples; ++n) slope[n] -= offset + share * from.value[n];
}

void makeTemplate(const cv::Mat& picture, const Vector2d& px, const PatchGrid& grid,
                  Template& out) {
    const int wide = grid.edge + 2;
    Samples raw;
    samplePatch(picture, px, grid, true, raw.data());
    out.edge = grid.edge;
    out.samples = grid.edge * grid.edge;
    double mean = 0;
    for (int v = 0, n = 0; v < grid.edge; ++v) {
        for (int u = 0; u < grid.edge; ++u, ++n) {
            const float* p = &raw[size_t(v + 1) * wide + u + 1];
            out.value[n] = p[0];
            out.slope_x[n] = 0.5f * (p[1] - p[-1]);
            out.slope_y[n] = 0.5f * (p[wide] - p[-wide]);
            mean += p[0];
        }
    }
    mean /= out.samples;
    for (int n = 0; n < out.samples; ++n) out.value[n] -= float(mean);
    for (int n = 0; n < out.samples; ++n) out.energy += out.value[n] * out.value[n];
    takeOut(out, out.slope_x);
    takeOut(out, out.slope_y);
    double xx = 0, xy = 0, yy = 0;
    for (int n = 0; n < out.samples; ++n) {
        xx += out.slope_x[n] * out.slope_x[n];
        xy += out.slope_x[n] * out.slope_y[n];
        yy += out.slope_y[n] * out.slope_y[n];
    }
    out.hessian << xx, xy, xy, yy;
}

struct Comparison {
    Vector2d slope = Vector2d::Zero();  // sum of slopes times the other's samples
    double gain = 0, correlation = 0, residual2 = 0;
};

Comparison compare(const Template& patch, const float* other) {
    float sum = 0;
    for (int n = 0; n < patch.samples; ++n) sum += other[n];
    const float mean = sum / float(patch.samples);
    float square = 0, cross = 0, x = 0, y = 0;
    for (int n = 0; n < patch.samples; ++n) {
        const float value = other[n] - mean;
        square += value * value;
        cross += patch.value[n] * value;
        x += patch.slope_x[n] * value;
        y += patch.slope_y[n] * value;
    }
    Comparison out;
    out.slope = {x, y};
    out.gain = cross / patch.energy;
    out.correlation = square > 0 ? cross / std::sqrt(square * patch.energy) : 0;
    out.residual2 = std::max(0.0, square - out.gain * cross);
    return out;
}

// Rows, then columns, of noise's correlation after the kernel on whole pixels: the weights
// (1, 4, 1) / 6 with themselves, (1, 8, 18, 8, 1) / 18.
void correlateNoise(int edge, const Samples& in, Samples& out) {
    constexpr float kOne = 8.0f / 18, kTwo = 1.0f / 18;
    Samples rows;
    const auto pass = [&](const Samples& from, Samples& to, int step, int across) {
        for (int line = 0; line < edge; ++line) {
            const float* p = &from[size_t(line) * across];
            float* q = &to[size_t(line) * across];
            for (int k = 0; k < edge; ++k) {
                const auto at = [&](int i) { return i < 0 || i >= edge ? 0.0f : p[i * step]; };
                q[k * step] =
                    p[k * step] + kOne * (at(k - 1) + at(k + 1)) + kTwo * (at(k - 2) + at(k + 2));
            }
        }
    };
    pass(in, rows, 1, edge);
    pass(rows, out, edge, 1);
}

// What noise of unit variance does to the shift, noise being alike in neighbouring samples.
Matrix2d shiftCovariance(const Template& patch, const Matrix2d& inverse_hessian) {
    Samples x, y;
    correlateNoise(patch.edge, patch.slope_x, x);
    correlateNoise(patch.edge, patch.slope_y, y);
    double xx = 0, xy = 0, yy = 0;
    for (int n = 0; n < patch.samples; ++n) {
        xx += patch.slope_x[n] * x[n];
        xy += patch.slope_x[n] * y[n];
        yy += patch.slope_y[n] * y[n];
    }
    Matrix2d spread;
    spread << xx, xy, xy, yy;
    return inverse_hessian * spread * inverse_hessian;
}

}  // namespace

PatchGrid PatchGrid::plain(int edge) {
    return bent(edge, Matrix2d::Identity(), Eigen::Matrix<double, 2, 3>::Zero());
}

PatchGrid PatchGrid::bent(int edge, const Matrix2d& slope,
                          const Eigen::Matrix<double, 2, 3>& bend) {
    assert(edge % 2 == 1 && edge <= kMostEdge);
    PatchGrid grid{edge, {}, {}, slope, 0};
    const int half = edge / 2 + 1;
    for (int v = -half; v <= half; ++v) {
        for (int u = -half; u <= half; ++u) {
            const Vector2d at = slope * Vector2d(u, v) + bend * Vector3d(u * u, u * v, v * v);
            grid.x.push_back(float(at.x()));
            grid.y.push_back(float(at.y()));
            grid.reach_px = std::max(grid.reach_px, at.cwiseAbs().maxCoeff());
        }
    }
    return grid;
}

std::optional<Registration> registerPatch(const PatchPlace& place, const PatchPlace& start,
                                          const PatchSettings& settings) {
    constexpr int kMostRounds = 20;
    constexpr double kStill_px = 1e-3, kLeastGain = 0.2, kMostGain = 5.0;
    assert(place.picture.type() == CV_32F && start.picture.type() == CV_32F &&
           place.grid.edge == start.grid.edge);
    if (!fits(place.picture, place.px, place.grid)) return std::nullopt;
    Template patch;
    makeTemplate(place.picture, place.px, place.grid, patch);
    if (!(patch.hessian.determinant() > 1e-9 * patch.hessian.squaredNorm()) || !(patch.energy > 0))
        return std::nullopt;
    const Matrix2d inverse = patch.hessian.inverse();

    Vector2d at = start.px;
    Samples samples;
    for (int round = 0; round < kMostRounds; ++round) {
        if ((at - start.px).norm() > settings.reach_px || !fits(start.picture, at, start.grid))
            return std::nullopt;
        samplePatch(start.picture, at, start.grid, false, samples.data());
        const Comparison seen = compare(patch, samples.data());
        if (!(seen.gain > kLeastGain && seen.gain < kMostGain)) return std::nullopt;
        const Vector2d shift = inverse * seen.slope / seen.gain;
        // Steps beyond a pixel leave the linear range: shortened, they still lead there.
        const double length = shift.norm();
        at -= start.grid.slope * (length > 1.0 ? Vector2d(shift / length) : shift);
        if (length > kStill_px) continue;
        if (seen.correlation < settings.least_correlation) return std::nullopt;
        const double variance = seen.residual2 / (patch.samples - 4) / (seen.gain * seen.gain);
        const Matrix2d covariance = variance * (start.grid.slope * shiftCovariance(patch, inverse) *
                                                start.grid.slope.transpose());
        return Registration{at, seen.correlation, std::sqrt(0.5 * covariance.trace())};
    }
    return std::nullopt;
}

std::optional<Vector2d> searchPatch(const PatchPlace& place, const PatchPlace& start, int steps) {
    constexpr double kAlike = 0.6, kDistinct = 0.06;
    if (!fits(place.picture, place.px, place.grid)) return std::nullopt;
    Template patch;
    makeTemplate(place.picture, place.px, place.grid, patch);
    if (!(patch.energy > 0)) return std::nullopt;
    struct Candidate {
        int u, v;
        double correlation;
    };
    std::vector<Candidate> places;
    Samples samples;
    for (int v = -steps; v <= steps; ++v) {
        for (int u = -steps; u <= steps; ++u) {
            const Vector2d at = start.px + start.grid.slope * Vector2d(u, v);
            if (u * u + v * v > steps * steps + 1 || !fits(start.picture, at, start.grid)) continue;
            samplePatch(start.picture, at, start.grid, false, samples.data());
            places.push_back({u, v, compare(patch, samples.data()).correlation});
        }
    }
    const auto best = std::max_element(
        places.begin(), places.end(),
        [](const Candidate& l, const Candidate& r) { return l.correlation < r.correlation; });
    if (best == places.end() || best->correlation < kAlike) return std::nullopt;
    for (const Candidate& one : places) {
        const bool apart = std::max(std::abs(one.u - best->u), std::abs(one.v - best->v)) > 1;
        if (apart && one.correlation > best->correlation - kDistinct) return std::nullopt;
    }
    return Vector2d(start.px + start.grid.slope * Vector2d(best->u, best->v));
}

}  // namespace plateloom::stitch
