#include "stitch/calibrate/board_points.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

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

namespace {

// 1 at 0, 0 at `end` and beyond, flat at both: a window that slides smoothly over the pixels.
double window(double distance, double end) {
    const double t = distance / end;
    return t >= 1 ? 0 : (1 - t * t) * (1 - t * t);
}

}  // namespace

std::optional<Vector2d> cornerAt(const cv::Mat& tone, const CornerSite& site) {
    constexpr double kLeastStrip_px = 2, kLeastReach_px = 3;
    Eigen::Matrix2d steps;
    steps << site.right, site.down;
    if (!(std::abs(steps.determinant()) > 4)) return std::nullopt;
    const Eigen::Matrix2d inSteps = steps.inverse();
    // Shares of a step that are pixels at least: distance to an edge is across it.
    const double across_right = std::abs(steps.determinant()) / site.down.norm();
    const double across_down = std::abs(steps.determinant()) / site.right.norm();
    const Vector2d across(across_right, across_down);
    Vector2d reach(std::max(site.reach, kLeastReach_px / across.x()),
                   std::max(site.reach, kLeastReach_px / across.y()));
    const Vector2d strip(std::max(site.strip, kLeastStrip_px / across.x()),
                         std::max(site.strip, kLeastStrip_px / across.y()));
    Vector2d box = (steps * reach.asDiagonal()).cwiseAbs().rowwise().sum();
    // Beside the picture's border less has to do: the window stays the same on all sides.
    const Vector2d size(tone.cols, tone.rows);
    const Vector2d room = site.px.cwiseMin(size - site.px) - Vector2d(2.5, 2.5);
    const double fits = std::min(1.0, (room.array() / box.array()).minCoeff());
    if (!(fits * (reach.array() * across.array()).minCoeff() >= kLeastReach_px))
        return std::nullopt;
    reach *= fits;
    box *= fits;

    Vector2d corner = site.px;
    for (int round = 0; round < 20; ++round) {
        const int left = int(std::floor(corner.x() - box.x())), right = int(corner.x() + box.x());
        const int top = int(std::floor(corner.y() - box.y())), bottom = int(corner.y() + box.y());
        if (left < 1 || top < 1 || right > tone.cols - 2 || bottom > tone.rows - 2)
            return std::nullopt;
        Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
        Vector2d sums = Vector2d::Zero();
        for (int y = top; y <= bottom; ++y) {
            const float *above = tone.ptr<float>(y - 1), *here = tone.ptr<float>(y),
                        *below = tone.ptr<float>(y + 1);
            for (int x = left; x <= right; ++x) {
                const Vector2d off = Vector2d(x + 0.5, y + 0.5) - corner;
                const Vector2d at = (inSteps * off).cwiseAbs();
                const double within = window(at.x(), reach.x()) * window(at.y(), reach.y());
                const double beside =
                    std::max(window(at.x(), strip.x()), window(at.y(), strip.y()));
                const double weight = within * beside;
                if (weight <= 0) continue;
                const Vector2d slope(double(here[x + 1] - here[x - 1]),
                                     double(below[x] - above[x]));
                const Vector2d weighted = weight * slope;
                normal += weighted * slope.transpose();
                sums += weighted * slope.dot(off);
            }
        }
        if (!(normal.determinant() > 1e-4 * normal.trace() * normal.trace())) return std::nullopt;
        const Vector2d move = normal.inverse() * sums;
        corner += move;
        if (!((corner - site.px).norm() < 0.9 * box.norm())) return std::nullopt;
        if (move.norm() < 1e-4) break;
    }
    return corner;
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
    const auto crossing = [&](int before, double share) {
        const double a = shareAt(before), b = shareAt(before + 1);
        return before + (share - a) / (b - a);
    };
    if (high == 0) return std::nullopt;
    const double step_px = 2 * reach.norm() / steps;
    return (crossing(high - 1, 0.9) - crossing(low, 0.1)) * step_px;
}

}  // namespace plateloom::stitch
