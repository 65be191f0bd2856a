#include "calib/setting_grid.h"

#include <Eigen/SparseCholesky>
#include <algorithm>
#include <cassert>
#include <cmath>

namespace plateloom::calib {

namespace {

using Eigen::VectorXd;

// Readings of one ring closer than this are one setting: a focal length to 0.3 %, a focus scale to
// 1 %, an iris to a thirtieth of a stop.
bool isSame(int ring, double a, double b) {
    switch (ring) {
        case zoom_ring:
            return std::abs(a - b) < 0.003;
        case focus_ring:
            return std::abs(a - b) < 0.01 * std::max(a, b) + 1e-4;
        default:
            return std::abs(a - b) < 0.034;
    }
}

int placeOf(int ring, const std::vector<double>& places, double at) {
    for (size_t i = 0; i < places.size(); ++i)
        if (isSame(ring, places[i], at)) return int(i);
    return -1;
}

std::vector<double> placesOf(int ring, const std::vector<SettingGrid::Point>& points) {
    std::vector<double> sorted, places;
    for (const auto& point : points)
        if (point.at[size_t(ring)]) sorted.push_back(*point.at[size_t(ring)]);
    std::sort(sorted.begin(), sorted.end());
    for (const double at : sorted)
        if (places.empty() || !isSame(ring, places.back(), at)) places.push_back(at);
    return places;
}

// Steffen's slope at the middle of three points, or zero where the curve turns; for a vector, the
// absolute value is its size in the metric.
VectorXd middleSlope(const VectorXd& before, const VectorXd& after, double h_before, double h_after,
                     const Eigen::MatrixXd& metric) {
    const VectorXd parabola = (before * h_after + after * h_before) / (h_before + h_after);
    const VectorXd b = metric * before, a = metric * after;
    if (b.dot(a) <= 0) return VectorXd::Zero(before.size());
    const double size = (metric * parabola).norm(), most = 2 * std::min(b.norm(), a.norm());
    return size > most ? VectorXd(parabola * (most / size)) : parabola;
}

// At the first of three points (or the last, with the differences turned round).
VectorXd endSlope(const VectorXd& near, const VectorXd& far, double h_near, double h_far,
                  const Eigen::MatrixXd& metric) {
    const VectorXd parabola =
        near * (1 + h_near / (h_near + h_far)) - far * (h_near / (h_near + h_far));
    const VectorXd p = metric * parabola, n = metric * near;
    if (p.dot(n) <= 0) return VectorXd::Zero(near.size());
    const double most = 2 * n.norm();
    return p.norm() > most ? VectorXd(parabola * (most / p.norm())) : parabola;
}

// The curve through values at rising places, asked within them.
VectorXd onCurve(const std::vector<double>& x, const std::vector<VectorXd>& y, double at,
                 const Eigen::MatrixXd& metric) {
    const size_t n = y.size();
    if (n == 1) return y[0];
    const size_t i =
        std::clamp<size_t>(size_t(std::upper_bound(x.begin(), x.end(), at) - x.begin()), 1, n - 1) -
        1;
    const double h = x[i + 1] - x[i], t = (at - x[i]) / h;
    if (n == 2) return (1 - t) * y[0] + t * y[1];
    const auto step = [&](size_t k) { return x[k + 1] - x[k]; };
    const auto rise = [&](size_t k) { return VectorXd((y[k + 1] - y[k]) / step(k)); };
    const auto slope = [&](size_t k) {
        if (k == 0) return endSlope(rise(0), rise(1), step(0), step(1), metric);
        if (k == n - 1) return endSlope(rise(n - 2), rise(n - 3), step(n - 2), step(n - 3), metric);
        return middleSlope(rise(k - 1), rise(k), step(k - 1), step(k), metric);
    };
    // Hermite's cubic.
    const double s = 1 - t;
    return y[i] * (s * s * (1 + 2 * t)) + y[i + 1] * (t * t * (3 - 2 * t)) +
           slope(i) * (h * t * s * s) - slope(i + 1) * (h * t * t * s);
}

// A sum of squares over cells, known ones and unknown ones, as the normal equations of the latter.
class SmoothestFill {
public:
    SmoothestFill(const std::vector<int>& unknown_of_cell, int unknowns, Eigen::Index width)
        : unknown_(unknown_of_cell), right_(Eigen::MatrixXd::Zero(unknowns, width)) {}

    struct Term {
        size_t cell;
        double factor;
    };
    template <class ValueOf>
    void add(const std::vector<Term>& terms, double weight, const ValueOf& valueOf) {
        VectorXd known = VectorXd::Zero(right_.cols());
        for (const Term& term : terms)
            if (unknown_[term.cell] < 0) known += term.factor * valueOf(term.cell);
        for (const Term& row : terms) {
            if (unknown_[row.cell] < 0) continue;
            right_.row(unknown_[row.cell]) -= weight * row.factor * known.transpose();
            for (const Term& column : terms)
                if (unknown_[column.cell] >= 0)
                    left_.emplace_back(unknown_[row.cell], unknown_[column.cell],
                                       weight * row.factor * column.factor);
        }
    }

    [[nodiscard]] Eigen::MatrixXd solve() const {
        Eigen::SparseMatrix<double> matrix(right_.rows(), right_.rows());
        matrix.setFromTriplets(left_.begin(), left_.end());
        const Eigen::SimplicialLDLT<Eigen::SparseMatrix<double>> solver(matrix);
        return solver.solve(right_);
    }

private:
    const std::vector<int>& unknown_;
    std::vector<Eigen::Triplet<double>> left_;
    Eigen::MatrixXd right_;
};

}  // namespace

SettingGrid::SettingGrid(const std::vector<Point>& points, const Eigen::MatrixXd& metric)
    : metric_(metric) {
    if (points.empty()) return;
    for (int ring = 0; ring < kRings; ++ring) places_[size_t(ring)] = placesOf(ring, points);
    cells_.assign(size_t(count(0)) * size_t(count(1)) * size_t(count(2)),
                  {VectorXd::Zero(points.front().value.size()), 0, false});
    for (const Point& point : points) {
        std::array<int, kRings> at{};
        bool complete = true;
        for (size_t ring = 0; ring < kRings; ++ring) {
            if (places_[ring].empty()) continue;
            complete &= point.at[ring].has_value();
            if (complete) at[ring] = placeOf(int(ring), places_[ring], *point.at[ring]);
        }
        if (!complete) continue;
        Cell& cell = cells_[index(at)];
        cell.value += (point.value - cell.value) / ++cell.points;
    }
    markEnclosed();
    fillIn();
}

bool SettingGrid::isSamePlace(const RingPlaces& a, const RingPlaces& b) {
    for (size_t ring = 0; ring < kRings; ++ring) {
        if (a[ring].has_value() != b[ring].has_value()) return false;
        if (a[ring] && !isSame(int(ring), *a[ring], *b[ring])) return false;
    }
    return true;
}

size_t SettingGrid::index(const std::array<int, kRings>& cell) const {
    return (size_t(cell[0]) * size_t(count(1)) + size_t(cell[1])) * size_t(count(2)) +
           size_t(cell[2]);
}

std::array<int, kRings> SettingGrid::cellOf(size_t index) const {
    const size_t irises = size_t(count(2)), focuses = size_t(count(1));
    return {int(index / irises / focuses), int(index / irises % focuses), int(index % irises)};
}

void SettingGrid::markEnclosed() {
    for (size_t i = 0; i < cells_.size(); ++i) {
        cells_[i].enclosed = cells_[i].points > 0;
        for (int ring = 0; ring < kRings && !cells_[i].enclosed; ++ring) {
            auto along = cellOf(i);
            const int here = along[size_t(ring)];
            bool before = false, after = false;
            for (int k = 0; k < count(ring); ++k) {
                along[size_t(ring)] = k;
                if (cells_[index(along)].points > 0) (k < here ? before : after) = true;
            }
            cells_[i].enclosed = before && after;
        }
    }
}

void SettingGrid::fillIn() {
    std::vector<int> unknown(cells_.size(), -1);
    int unknowns = 0;
    for (size_t i = 0; i < cells_.size(); ++i)
        if (cells_[i].points == 0) unknown[i] = unknowns++;
    if (unknowns == 0) return;

    // Mixed differences decide; where they leave something open (settings that share no ring) the
    // curve along each ring is kept straight, and last of all level.
    constexpr double kStraight = 1e-3, kLevel = 1e-9;
    SmoothestFill fill(unknown, unknowns, cells_.front().value.size());
    const auto valueOf = [&](size_t cell) -> const VectorXd& { return cells_[cell].value; };
    const auto step = [&](size_t ring, int k) {
        const auto& at = places_[ring];
        return (at[size_t(k) + 1] - at[size_t(k)]) / (at.back() - at.front());
    };
    for (size_t i = 0; i < cells_.size(); ++i) {
        const auto here = cellOf(i);
        for (size_t a = 0; a < kRings; ++a) {
            if (here[a] + 1 >= count(int(a))) continue;
            auto next = here;
            ++next[a];
            const double h = step(a, here[a]);
            fill.add({{index(here), -1}, {index(next), 1}}, kLevel / h, valueOf);
            if (here[a] + 2 < count(int(a))) {
                auto after = next;
                ++after[a];
                const double g = step(a, here[a] + 1);
                fill.add(
                    {{index(here), 1 / h}, {index(next), -1 / h - 1 / g}, {index(after), 1 / g}},
                    kStraight * (h + g), valueOf);
            }
            for (size_t b = a + 1; b < kRings; ++b) {
                if (here[b] + 1 >= count(int(b))) continue;
                auto beside = here, across = next;
                ++beside[b];
                ++across[b];
                fill.add(
                    {{index(here), 1}, {index(next), -1}, {index(beside), -1}, {index(across), 1}},
                    1 / (h * step(b, here[b])), valueOf);
            }
        }
    }
    const Eigen::MatrixXd found = fill.solve();
    for (size_t i = 0; i < cells_.size(); ++i)
        if (unknown[i] >= 0) cells_[i].value = found.row(unknown[i]).transpose();
}

SettingGrid::Found SettingGrid::at(const RingPlaces& question) const {
    assert(!empty());
    Found found;
    RingPlaces at;
    std::array<int, kRings> low{}, high{};  // the cells that the answer lies between
    for (size_t ring = 0; ring < kRings; ++ring) {
        const auto& places = places_[ring];
        if (places.empty()) {
            found.reach[ring] = Reach::unknown;
            continue;
        }
        if (!question[ring]) {
            found.reach[ring] = Reach::unasked;
            at[ring] = places[places.size() / 2];
        } else {
            at[ring] = std::clamp(*question[ring], places.front(), places.back());
            const bool beyond = !isSame(int(ring), *question[ring], *at[ring]);
            if (beyond)
                found.reach[ring] = *question[ring] < *at[ring] ? Reach::below : Reach::above;
        }
        const int same = placeOf(int(ring), places, *at[ring]);
        const auto after = std::upper_bound(places.begin(), places.end(), *at[ring]);
        high[ring] = same >= 0 ? same : int(after - places.begin());
        low[ring] = same >= 0 ? same : high[ring] - 1;
    }
    for (int z = low[0]; z <= high[0]; ++z)
        for (int f = low[1]; f <= high[1]; ++f)
            for (int t = low[2]; t <= high[2]; ++t)
                found.carried_over |= !cells_[index({z, f, t})].enclosed;

    std::vector<VectorXd> zooms;
    for (int z = 0; z < count(0); ++z) {
        std::vector<VectorXd> focuses;
        for (int f = 0; f < count(1); ++f) {
            std::vector<VectorXd> irises;
            for (int t = 0; t < count(2); ++t) irises.push_back(cells_[index({z, f, t})].value);
            focuses.push_back(onCurve(places_[2], irises, at[2].value_or(0), metric_));
        }
        zooms.push_back(onCurve(places_[1], focuses, at[1].value_or(0), metric_));
    }
    found.value = onCurve(places_[0], zooms, at[0].value_or(0), metric_);
    return found;
}

double SettingGrid::change(Ring ring) const {
    double most = 0;
    for (size_t i = 0; i < cells_.size(); ++i) {
        auto along = cellOf(i);
        for (int k = 0; k < count(ring); ++k) {
            along[ring] = k;
            const VectorXd apart = cells_[index(along)].value - cells_[i].value;
            most = std::max(most, (metric_ * apart).cwiseAbs().maxCoeff());
        }
    }
    return most;
}

}  // namespace plateloom::calib
