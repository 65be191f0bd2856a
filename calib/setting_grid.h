// Values measured at settings of a lens's rings, made into something that can be asked at any
// setting between them.
//
// The rings are zoom, focus and iris, each in the unit in which a lens works: ln(mm), 1/m, stops.
// Settings need not make a whole grid. Where one is left out it is filled in so that the mixed
// differences between neighbouring rings stay as small as they can: what focus does and what iris
// does are taken to add up, locally, which is right to second order in each. Within the grid every
// ring's curve is a piecewise cubic with M. Steffen's limited slopes (A simple method for monotonic
// interpolation in one dimension, Astron. Astrophys. 239, 1990), linear where there are two points.
//
// A value is a vector (a lens's coefficients). The slopes are limited for the vector as a whole, in
// the size that `metric` gives it, never one coefficient at a time: the coefficients of a fitted
// polynomial trade with each other, and only all of them together are a curve of the lens.
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <optional>
#include <vector>

namespace plateloom::calib {

enum Ring { zoom_ring = 0, focus_ring = 1, iris_ring = 2 };
constexpr int kRings = 3;
using RingPlaces = std::array<std::optional<double>, kRings>;

class SettingGrid {
public:
    struct Point {
        RingPlaces at;  ///< nullopt: not known, and then for all points of that ring or none counts
        Eigen::VectorXd value;
    };
    /// What a ring was asked against what was measured.
    enum class Reach {
        inside,   ///< between two, or at one
        below,    ///< clamped to the lowest
        above,    ///< clamped to the highest
        unasked,  ///< the question does not say: the middle is taken
        unknown   ///< no point says
    };
    struct Found {
        Eigen::VectorXd value;
        std::array<Reach, kRings> reach{};
        bool carried_over = false;  ///< a setting beyond the measured ones of its neighbours counts
    };

    SettingGrid() = default;
    /// `metric` times a difference of two values is what the difference does, in one common unit.
    SettingGrid(const std::vector<Point>& points, const Eigen::MatrixXd& metric);

    /// Whether two readings of the rings are one setting that was read twice.
    [[nodiscard]] static bool isSamePlace(const RingPlaces& a, const RingPlaces& b);

    [[nodiscard]] bool empty() const { return cells_.empty(); }
    [[nodiscard]] Found at(const RingPlaces& question) const;
    /// The places measured along a ring, rising; empty if unknown.
    [[nodiscard]] const std::vector<double>& places(Ring ring) const { return places_[ring]; }
    /// The most that the value changes along a ring, all others fixed, in the metric's unit.
    [[nodiscard]] double change(Ring ring) const;

private:
    struct Cell {
        Eigen::VectorXd value;
        int points = 0;         // measured here
        bool enclosed = false;  // measured, or between measured ones along some ring
    };
    [[nodiscard]] int count(int ring) const { return std::max<int>(1, int(places_[ring].size())); }
    [[nodiscard]] size_t index(const std::array<int, kRings>& cell) const;
    [[nodiscard]] std::array<int, kRings> cellOf(size_t index) const;
    void fillIn();
    void markEnclosed();

    Eigen::MatrixXd metric_;
    std::array<std::vector<double>, kRings> places_;
    std::vector<Cell> cells_;
};

}  // namespace plateloom::calib
