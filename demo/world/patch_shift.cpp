#include "world/patch_shift.h"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <array>
#include <cmath>

namespace plateloom::world {

namespace {

// Catmull and Rom's cubic: of third order, so it is exact to about 1e-4 where light is smooth.
std::array<double, 4> cubicWeights(double t) {
    return {0.5 * t * (-1 + t * (2 - t)), 0.5 * (2 + t * t * (-5 + 3 * t)),
            0.5 * t * (1 + t * (4 - 3 * t)), 0.5 * t * t * (t - 1)};
}

double lightAt(const cv::Mat& picture, double x, double y) {
    const double left = std::floor(x), top = std::floor(y);
    const auto across = cubicWeights(x - left), down = cubicWeights(y - top);
    double light = 0;
    for (int j = 0; j < 4; ++j) {
        const float* row = picture.ptr<float>(int(top) + j - 1) + int(left) - 1;
        double sum = 0;
        for (int i = 0; i < 4; ++i) sum += across[size_t(i)] * row[i];
        light += down[size_t(j)] * sum;
    }
    return light;
}

Eigen::Vector2d slopeAt(const cv::Mat& picture, double x, double y) {
    return {0.5 * (lightAt(picture, x + 1, y) - lightAt(picture, x - 1, y)),
            0.5 * (lightAt(picture, x, y + 1) - lightAt(picture, x, y - 1))};
}

}  // namespace

std::optional<PatchShift> patchShift(const cv::Mat& from, const cv::Mat& to, int x, int y, int edge,
                                     double reach_px) {
    const int half = edge / 2, margin = half + 3 + int(std::ceil(reach_px));
    if (x < margin || y < margin || x + margin >= from.cols || y + margin >= from.rows)
        return std::nullopt;
    constexpr double kLeastCorrelation = 0.8, kSettled_px = 1e-4;
    constexpr int kMostSteps = 25;
    PatchShift shift;
    for (int step = 0; step < kMostSteps; ++step) {
        // to(p + shift) = gain from(p) + offset; the slope is the mean of both pictures', which
        // makes the answer the same from either side.
        Eigen::Matrix4d normal = Eigen::Matrix4d::Zero();
        Eigen::Vector4d right = Eigen::Vector4d::Zero();
        double there_sum = 0, there_squares = 0;
        const int count = edge * edge;
        for (int j = -half; j <= half; ++j)
            for (int i = -half; i <= half; ++i) {
                const double here = from.at<float>(y + j, x + i);
                const double px = x + i + shift.px.x(), py = y + j + shift.px.y();
                const double there = lightAt(to, px, py);
                const Eigen::Vector2d slope =
                    0.5 * (slopeAt(from, x + i, y + j) + slopeAt(to, px, py));
                const Eigen::Vector4d row(-slope.x(), -slope.y(), here, 1);
                normal += row * row.transpose();
                right += row * there;
                there_sum += there;
                there_squares += there * there;
            }
        const Eigen::Vector4d found = normal.ldlt().solve(right);
        if (!found.allFinite()) return std::nullopt;
        shift.px += found.head<2>();
        if (shift.px.cwiseAbs().maxCoeff() > reach_px) return std::nullopt;
        if (found.head<2>().norm() > kSettled_px) continue;
        const double spread = there_squares - there_sum * there_sum / count;
        const double residual = std::max(0.0, there_squares - right.dot(found));
        if (!(spread > 0) || residual > (1 - kLeastCorrelation * kLeastCorrelation) * spread ||
            found[2] <= 0)
            return std::nullopt;
        const Eigen::Matrix4d covariance = normal.inverse() * (residual / (count - 4));
        shift.sigma_px = std::sqrt(0.5 * (covariance(0, 0) + covariance(1, 1)));
        return shift;
    }
    return std::nullopt;
}

}  // namespace plateloom::world
