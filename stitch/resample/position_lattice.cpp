#include "stitch/resample/position_lattice.h"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace plateloom::stitch {

namespace {

constexpr float kNowhere = -1e6f;

// Lagrange's cubic through nodes at -1, 0, 1, 2.
std::array<double, 4> cubicWeights(double t) {
    return {-t * (t - 1) * (t - 2) / 6, (t + 1) * (t - 1) * (t - 2) / 2, -(t + 1) * t * (t - 2) / 2,
            (t + 1) * t * (t - 1) / 6};
}

}  // namespace

PositionLattice::PositionLattice(Exact exact, Far far, const CellRange& cells,
                                 const Settings& settings)
    : exact_(std::move(exact)), far_(std::move(far)), cells_(cells), settings_(settings) {
    assert(settings.step >= 1 && cells.x1 > cells.x0 && cells.y1 > cells.y0);
    for (int k = 0; k < settings.step; ++k)
        weights_.push_back(cubicWeights((k + 0.5) / settings.step));
    nodes_across_ = cells.x1 - cells.x0 + 3;
    nodes_.resize(size_t(nodes_across_) * (cells.y1 - cells.y0 + 3));
}

const PositionLattice::Node& PositionLattice::node(int i, int j) {
    Node& n = nodes_[size_t(j - cells_.y0 + 1) * nodes_across_ + (i - cells_.x0 + 1)];
    if (n.state != Node::unknown) return n;
    const double x = double(i) * settings_.step, y = double(j) * settings_.step;
    if (far_(x, y)) {
        n.state = Node::far;
        return n;
    }
    const auto place = exact_(x, y);
    n.state = place ? Node::valid : Node::invalid;
    if (place) {
        n.x = place->x();
        n.y = place->y();
    }
    return n;
}

// The cell's four corners bound its pixels but for the map's curvature: a quarter of the extent is
// far more than that.
bool PositionLattice::mayTouchPlate(const Stencil& nodes) const {
    double x0 = 1e30, x1 = -1e30, y0 = 1e30, y1 = -1e30;
    for (const int k : {5, 6, 9, 10}) {
        x0 = std::min(x0, nodes[k].x);
        x1 = std::max(x1, nodes[k].x);
        y0 = std::min(y0, nodes[k].y);
        y1 = std::max(y1, nodes[k].y);
    }
    const double margin = 1 + 0.25 * std::max(x1 - x0, y1 - y0);
    const double left = settings_.corner_x - margin, top = settings_.corner_y - margin;
    const double right = settings_.corner_x + settings_.plate_width + margin;
    const double bottom = settings_.corner_y + settings_.plate_height + margin;
    if (y1 <= top || y0 >= bottom) return false;
    return settings_.period_x > 0 || (x1 > left && x0 < right);
}

bool PositionLattice::cubicHolds(int cx, int cy, const Stencil& nodes) const {
    const int step = settings_.step;
    const auto place = exact_((cx + 0.5) * step, (cy + 0.5) * step);
    if (!place) return false;
    const auto w = cubicWeights(0.5);
    double x = 0, y = 0;
    for (int j = 0; j < 4; ++j)
        for (int i = 0; i < 4; ++i) {
            x += w[j] * w[i] * nodes[4 * j + i].x;
            y += w[j] * w[i] * nodes[4 * j + i].y;
        }
    return std::hypot(x - near(place->x(), x), y - place->y()) <= settings_.tolerance_px;
}

void PositionLattice::interpolate(const Stencil& nodes, SamplePoint* points) const {
    const int step = settings_.step;
    // Plate pixels per output pixel along each plate axis, at the cell's corners.
    double scale_x[4], scale_y[4];
    for (int k = 0; k < 4; ++k) {
        const int at = (k & 1 ? 6 : 5) + (k & 2 ? 4 : 0);
        const Node &left = nodes[at - 1], &right = nodes[at + 1];
        const Node &above = nodes[at - 4], &below = nodes[at + 4];
        scale_x[k] = std::hypot(right.x - left.x, below.x - above.x) / (2 * step);
        scale_y[k] = std::hypot(right.y - left.y, below.y - above.y) / (2 * step);
    }
    for (int row = 0; row < step; ++row) {
        const auto& wy = weights_[row];
        double x[4], y[4];
        for (int i = 0; i < 4; ++i) {
            x[i] = wy[0] * nodes[i].x + wy[1] * nodes[4 + i].x + wy[2] * nodes[8 + i].x +
                   wy[3] * nodes[12 + i].x;
            y[i] = wy[0] * nodes[i].y + wy[1] * nodes[4 + i].y + wy[2] * nodes[8 + i].y +
                   wy[3] * nodes[12 + i].y;
        }
        const double v = (row + 0.5) / step;
        const double left_x = scale_x[0] + v * (scale_x[2] - scale_x[0]);
        const double right_x = scale_x[1] + v * (scale_x[3] - scale_x[1]);
        const double left_y = scale_y[0] + v * (scale_y[2] - scale_y[0]);
        const double right_y = scale_y[1] + v * (scale_y[3] - scale_y[1]);
        for (int column = 0; column < step; ++column) {
            const auto& wx = weights_[column];
            const double u = (column + 0.5) / step;
            SamplePoint& p = points[row * step + column];
            p.x = float(wx[0] * x[0] + wx[1] * x[1] + wx[2] * x[2] + wx[3] * x[3]);
            p.y = float(wx[0] * y[0] + wx[1] * y[1] + wx[2] * y[2] + wx[3] * y[3]);
            p.scale_x = float(left_x + u * (right_x - left_x));
            p.scale_y = float(left_y + u * (right_y - left_y));
        }
    }
}

bool PositionLattice::computeExactly(int cx, int cy, SamplePoint* points) const {
    const int step = settings_.step, across = step + 1;
    std::vector<std::optional<calib::Vector2d>> places(size_t(across) * across);
    for (int j = 0; j < across; ++j)
        for (int i = 0; i < across; ++i)
            places[size_t(j) * across + i] = exact_(cx * step + i + 0.5, cy * step + j + 0.5);
    bool any = false;
    for (int j = 0; j < step; ++j)
        for (int i = 0; i < step; ++i) {
            const auto& here = places[size_t(j) * across + i];
            SamplePoint& p = points[j * step + i];
            p = {kNowhere, kNowhere, 1, 1};
            if (!here) continue;
            p.x = float(here->x());
            p.y = float(here->y());
            any |= settings_.beyond_plate || onPlate(here->x(), here->y());
            const auto& right = places[size_t(j) * across + i + 1];
            const auto& below = places[size_t(j + 1) * across + i];
            const calib::Vector2d du = right.value_or(*here), dv = below.value_or(*here);
            p.scale_x = float(std::hypot(near(du.x(), here->x()) - here->x(),
                                         near(dv.x(), here->x()) - here->x()));
            p.scale_y = float(std::hypot(du.y() - here->y(), dv.y() - here->y()));
        }
    return any;
}

bool PositionLattice::isSomewhere(const SamplePoint& point) {
    return point.x > kNowhere;
}

bool PositionLattice::cell(int cx, int cy, SamplePoint* points) {
    assert(cx >= cells_.x0 && cx < cells_.x1 && cy >= cells_.y0 && cy < cells_.y1);
    Stencil nodes;
    int valid = 0;
    for (int j = 0; j < 4; ++j)
        for (int i = 0; i < 4; ++i) {
            const Node& n = node(cx - 1 + i, cy - 1 + j);
            if (n.state == Node::far) return false;
            valid += n.state == Node::valid;
            nodes[size_t(4 * j + i)] = n;
        }
    if (valid == 0) return false;
    if (valid < 16) return computeExactly(cx, cy, points);
    for (Node& n : nodes) n.x = near(n.x, nodes[5].x);
    if (!settings_.beyond_plate && !mayTouchPlate(nodes)) return false;
    if (!cubicHolds(cx, cy, nodes)) return computeExactly(cx, cy, points);
    interpolate(nodes, points);
    return true;
}

}  // namespace plateloom::stitch
