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

// The pixels about a corner that have a say in where it is.
class CornerWindow {
public:
    struct Pixel {
        Vector2d off;    // from the corner, pixels
        Vector2d steps;  // the same in steps of the board
        Vector2d slope;  // of the picture, over two pixels
        // Weights: near the edge that runs right, and near the one that runs down.
        double along_right, along_down;
    };

    // Nullopt where a step is no step, or the picture's border leaves no room.
    static std::optional<CornerWindow> about(const cv::Mat& picture, const CornerSite& site) {
        constexpr double kLeastStrip_px = 2, kLeastReach_px = 3;
        CornerWindow out(picture, site);
        Eigen::Matrix2d steps;
        steps << site.right, site.down;
        const double area = std::abs(steps.determinant());
        if (!(area > 4)) return std::nullopt;
        out.inSteps_ = steps.inverse();
        // Shares of a step that are pixels at least: distance to an edge is across it.
        const Vector2d across(area / site.down.norm(), area / site.right.norm());
        out.reach_ =
            Vector2d(site.reach, site.reach).cwiseMax(kLeastReach_px * across.cwiseInverse());
        out.strip_ =
            Vector2d(site.strip, site.strip).cwiseMax(kLeastStrip_px * across.cwiseInverse());
        out.box_ = (steps * out.reach_.asDiagonal()).cwiseAbs().rowwise().sum();
        // Beside the picture's border less has to do: the window stays the same on all sides.
        const Vector2d size(picture.cols, picture.rows);
        const Vector2d room = site.px.cwiseMin(size - site.px) - Vector2d(2.5, 2.5);
        const double fits = std::min(1.0, (room.array() / out.box_.array()).minCoeff());
        if (!(fits * (out.reach_.array() * across.array()).minCoeff() >= kLeastReach_px))
            return std::nullopt;
        out.reach_ *= fits;
        out.box_ *= fits;
        return out;
    }

    // Least squares again and again about the place it found: `add(pixel, normal, sums)` adds a
    // pixel's equations for the way from the corner.
    template <typename Add>
    [[nodiscard]] std::optional<Vector2d> settle(const Add& add) const {
        Vector2d corner = start_;
        for (int round = 0; round < 20; ++round) {
            Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
            Vector2d sums = Vector2d::Zero();
            if (!visit(corner, [&](const Pixel& pixel) { add(pixel, normal, sums); }))
                return std::nullopt;
            if (!(normal.determinant() > 1e-4 * normal.trace() * normal.trace()))
                return std::nullopt;
            const Vector2d move = normal.inverse() * sums;
            corner += move;
            if (!((corner - start_).norm() < 0.9 * box_.norm())) return std::nullopt;
            if (move.norm() < 1e-4) break;
        }
        return corner;
    }

private:
    CornerWindow(const cv::Mat& picture, const CornerSite& site)
        : picture_(&picture), start_(site.px) {}

    template <typename See>
    bool visit(const Vector2d& corner, const See& see) const {
        const int left = int(std::floor(corner.x() - box_.x())), right = int(corner.x() + box_.x());
        const int top = int(std::floor(corner.y() - box_.y())), bottom = int(corner.y() + box_.y());
        if (left < 1 || top < 1 || right > picture_->cols - 2 || bottom > picture_->rows - 2)
            return false;
        for (int y = top; y <= bottom; ++y) {
            const float *above = picture_->ptr<float>(y - 1), *here = picture_->ptr<float>(y),
                        *below = picture_->ptr<float>(y + 1);
            for (int x = left; x <= right; ++x) {
                const Vector2d off = Vector2d(x + 0.5, y + 0.5) - corner;
                const Vector2d steps = inSteps_ * off, at = steps.cwiseAbs();
                const double within = window(at.x(), reach_.x()) * window(at.y(), reach_.y());
                const double along_right = within * window(at.y(), strip_.y());
                const double along_down = within * window(at.x(), strip_.x());
                if (along_right <= 0 && along_down <= 0) continue;
                const Vector2d slope(double(here[x + 1] - here[x - 1]),
                                     double(below[x] - above[x]));
                see(Pixel{off, steps, slope, along_right, along_down});
            }
        }
        return true;
    }

    const cv::Mat* picture_;
    Vector2d start_, reach_, strip_, box_;
    Eigen::Matrix2d inSteps_;
};

// The step from a corner to the next ones and what it grows by from one to the next.
struct Line {
    Vector2d step, bend;
};
// `at(k)`: the corner k steps on, null where none was found.
template <typename At>
std::optional<Line> lineThrough(const At& at) {
    const Vector2d *before = at(-1), *here = at(0), *after = at(1);
    if (!here || (!before && !after)) return std::nullopt;
    if (before && after) return Line{0.5 * (*after - *before), *before + *after - 2 * *here};
    const int way = after ? 1 : -1;
    const Vector2d *next = at(way), *beyond = at(2 * way);
    const Vector2d bend = beyond ? Vector2d(*here + *beyond - 2 * *next) : Vector2d(0, 0);
    return Line{way * (*next - *here - 0.5 * bend), bend};
}

}  // namespace

std::optional<Vector2d> cornerAt(const cv::Mat& tone, const CornerSite& site) {
    const auto window = CornerWindow::about(tone, site);
    if (!window) return std::nullopt;
    return window->settle(
        [](const CornerWindow::Pixel& p, Eigen::Matrix2d& normal, Vector2d& sums) {
            const Vector2d weighted = std::max(p.along_right, p.along_down) * p.slope;
            normal += weighted * p.slope.transpose();
            sums += weighted * p.slope.dot(p.off);
        });
}

std::optional<BoardLines> linesAt(const CornerOf& corner, int i, int j) {
    const auto right = lineThrough([&](int k) { return corner(i + k, j); });
    const auto down = lineThrough([&](int k) { return corner(i, j + k); });
    if (!right || !down) return std::nullopt;
    return BoardLines{right->step, down->step, right->bend, down->bend};
}

std::optional<Vector2d> crossingAt(const cv::Mat& light, const Vector2d& rough_px,
                                   const BoardLines& lines, double reach, double strip) {
    const auto window =
        CornerWindow::about(light, {rough_px, lines.right, lines.down, reach, strip});
    if (!window) return std::nullopt;
    const Vector2d over_right = Vector2d(-lines.right.y(), lines.right.x()).normalized();
    const Vector2d over_down = Vector2d(-lines.down.y(), lines.down.x()).normalized();
    return window->settle([&](const CornerWindow::Pixel& p, Eigen::Matrix2d& normal,
                              Vector2d& sums) {
        // How far beside each edge, its bend taken out; weighted by how steep it is across.
        const auto add = [&](double weight, const Vector2d& over, const Vector2d& bend, double s) {
            const double steep = p.slope.dot(over);
            const double w = weight * steep * steep;
            normal += w * over * over.transpose();
            sums += w * over.dot(p.off - 0.5 * s * s * bend) * over;
        };
        add(p.along_right, over_right, lines.bend_right, p.steps.x());
        add(p.along_down, over_down, lines.bend_down, p.steps.y());
    });
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
