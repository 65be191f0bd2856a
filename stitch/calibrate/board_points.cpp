#include "stitch/calibrate/board_points.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

namespace plateloom::stitch {

float valueAt(const cv::Mat& picture, const Vector2d& px) {
    const double x = std::clamp(px.x() - 0.5, 0.0, picture.cols - 1.0);
    const double y = std::clamp(px.y() - 0.5, 0.0, picture.rows - 1.0);
    const int i = std::min(int(x), std::max(0, picture.cols - 2)),
              i1 = std::min(i + 1, picture.cols - 1);
    const int j = std::min(int(y), std::max(0, picture.rows - 2)),
              j1 = std::min(j + 1, picture.rows - 1);
    const auto s = float(x - i), t = float(y - j);
    const float *above = picture.ptr<float>(j), *below = picture.ptr<float>(j1);
    return (above[i] * (1 - s) + above[i1] * s) * (1 - t) +
           (below[i] * (1 - s) + below[i1] * s) * t;
}

std::optional<Vector2d> cornerNear(const cv::Mat& tone, const Vector2d& rough_px,
                                   double window_px) {
    const int window = std::max(2, int(std::lround(window_px)));
    const double margin = window + 1;
    if (!(rough_px.x() > margin && rough_px.y() > margin && rough_px.x() < tone.cols - margin &&
          rough_px.y() < tone.rows - margin))
        return std::nullopt;
    std::vector<cv::Point2f> at{cv::Point2f(float(rough_px.x() - 0.5), float(rough_px.y() - 0.5))};
    cv::cornerSubPix(tone, at, cv::Size(window, window), cv::Size(-1, -1),
                     {cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 50, 1e-4});
    const Vector2d found(double(at[0].x) + 0.5, double(at[0].y) + 0.5);
    if (!((found - rough_px).norm() < 0.9 * window)) return std::nullopt;
    return found;
}

double quadrantContrast(const cv::Mat& tone, const Vector2d& corner_px, const Vector2d& right,
                        const Vector2d& down, double share) {
    const Vector2d along = share * (right + down), across = share * (right - down);
    return double(valueAt(tone, corner_px + along)) + valueAt(tone, corner_px - along) -
           valueAt(tone, corner_px + across) - valueAt(tone, corner_px - across);
}

std::optional<DotPlace> dotNear(const cv::Mat& light, const Vector2d& rough_px, double cell_px) {
    const double outer = 0.5 * cell_px, ring = 0.42 * cell_px;
    if (!(rough_px.x() > outer + 1 && rough_px.y() > outer + 1 &&
          rough_px.x() < light.cols - outer - 1 && rough_px.y() < light.rows - outer - 1))
        return std::nullopt;
    Vector2d middle = rough_px;
    DotPlace out;
    for (int round = 0; round < 3; ++round) {
        const int left = int(std::floor(middle.x() - outer)), right = int(middle.x() + outer);
        const int top = int(std::floor(middle.y() - outer)), bottom = int(middle.y() + outer);
        const auto inside = [&](int x, int y) {
            return x >= 0 && y >= 0 && x < light.cols && y < light.rows;
        };
        // The ground: a plane through the light about the dot, so that a lamp to one side does not
        // pull the middle over.
        Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
        Eigen::Vector3d sums = Eigen::Vector3d::Zero();
        for (int y = top; y <= bottom; ++y)
            for (int x = left; x <= right; ++x) {
                const Vector2d off = Vector2d(x + 0.5, y + 0.5) - middle;
                const double r = off.norm();
                if (!inside(x, y) || r < ring || r > outer) continue;
                const Eigen::Vector3d basis(1, off.x(), off.y());
                normal += basis * basis.transpose();
                sums += basis * double(light.at<float>(y, x));
            }
        const Eigen::Vector3d ground = normal.ldlt().solve(sums);
        const double depth = ground.x() - double(valueAt(light, middle));
        if (!std::isfinite(depth) || std::abs(depth) < 0.1 * std::abs(ground.x()))
            return std::nullopt;
        double mass = 0;
        Vector2d moment = Vector2d::Zero();
        for (int y = top; y <= bottom; ++y)
            for (int x = left; x <= right; ++x) {
                const Vector2d off = Vector2d(x + 0.5, y + 0.5) - middle;
                if (!inside(x, y) || off.norm() > outer) continue;
                const double level = ground.x() + ground.y() * off.x() + ground.z() * off.y();
                // Noise of the ground is kept out; what is dark beyond the dot's own depth as well.
                const double share = (level - double(light.at<float>(y, x))) / depth;
                const double weight = share < 0.1 ? 0 : std::min(share, 1.2);
                mass += weight;
                moment += weight * off;
            }
        if (!(mass > 4)) return std::nullopt;
        middle += moment / mass;
        out.area_px = mass;
        if ((middle - rough_px).norm() > ring) return std::nullopt;
    }
    out.px = middle;
    return out;
}

std::optional<double> edgeWidth(const cv::Mat& light, const Vector2d& px, const Vector2d& reach) {
    const int steps = std::max(8, int(std::ceil(8 * reach.norm())));
    std::vector<double> profile(size_t(steps) + 1);
    for (int i = 0; i <= steps; ++i)
        profile[size_t(i)] = double(valueAt(light, px + reach * (2.0 * i / steps - 1)));
    const int tail = std::max(1, steps / 8);
    double from = 0, to = 0;
    for (int i = 0; i < tail; ++i) {
        from += profile[size_t(i)] / tail;
        to += profile[size_t(steps - i)] / tail;
    }
    if (std::abs(to - from) < 0.2 * std::max(std::abs(to), std::abs(from))) return std::nullopt;
    // First beyond 90 %, and before it the last below 10 %.
    const auto shareAt = [&](int i) { return (profile[size_t(i)] - from) / (to - from); };
    int high = 0;
    while (high <= steps && shareAt(high) < 0.9) ++high;
    int low = high;
    while (low > 0 && shareAt(low) > 0.1) --low;
    if (high > steps || shareAt(low) > 0.1) return std::nullopt;
    const double step_px = 2 * reach.norm() / steps;
    return double(high - low) * step_px;
}

}  // namespace plateloom::stitch
