#include "calib/axis_over_focus.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

using namespace plateloom::calib;

namespace {

// An axis at five focus settings, with noise of its own sigma.
std::vector<AxisMeasured> measured(const Vector2d& axis_mm, const Vector2d& per_dioptre_mm,
                                   unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal;
    std::vector<AxisMeasured> out;
    int k = 0;
    for (const double focus_m : {2.0, 3.0, 5.0, 9.0, 20.0}) {
        AxisMeasured at;
        at.per_focus = 1 / focus_m;
        at.sigma_mm = Vector2d(0.0004, 0.0007) * (1 + k++ % 3);
        at.axis_mm = axis_mm + per_dioptre_mm / focus_m +
                     Vector2d(at.sigma_mm.x() * normal(random), at.sigma_mm.y() * normal(random));
        out.push_back(at);
    }
    return out;
}

}  // namespace

TEST_CASE("A common axis is as far off as its sigma says, and better known than any one's",
          "[calibrate]") {
    const Vector2d truth(-0.06, 0.11);
    double square = 0, chi_square = 0;
    constexpr int kDraws = 200;
    for (int draw = 0; draw < kDraws; ++draw) {
        const auto axes = measured(truth, {0, 0}, unsigned(draw));
        const auto common = axisOverFocus(axes, false);
        CHECK(common.sigma_mm[0].x() < 0.0004);
        CHECK(common.axis_mm[0] == common.axis_mm[4]);
        square += (common.axis_mm[0] - truth).cwiseQuotient(common.sigma_mm[0]).squaredNorm();
        chi_square += common.chi_square;
        CHECK(common.freedom == 8);
    }
    CHECK(square / (2 * kDraws) == Approx(1).epsilon(0.15));
    CHECK(chi_square / (8 * kDraws) == Approx(1).epsilon(0.1));
}

TEST_CASE("An axis that goes with focus contradicts a common one, and is found as a line",
          "[calibrate]") {
    const Vector2d truth(0.02, -0.01), slope(0.01, 0);
    const auto axes = measured(truth, slope, 3);
    CHECK(axisOverFocus(axes, false).isContradicted());
    const auto line = axisOverFocus(axes, true);
    CHECK_FALSE(line.isContradicted());
    CHECK(line.freedom == 6);
    for (size_t i = 0; i < axes.size(); ++i) {
        const Vector2d off = line.axis_mm[i] - truth - slope * axes[i].per_focus;
        CHECK(off.cwiseQuotient(line.sigma_mm[i]).norm() < 4);
        CHECK(line.sigma_mm[i].x() <= axes[i].sigma_mm.x());
    }
}

TEST_CASE("An axis that jumps from setting to setting contradicts both", "[calibrate]") {
    auto axes = measured({0, 0}, {0, 0}, 5);
    for (size_t i = 0; i < axes.size(); ++i) axes[i].axis_mm.y() += i % 2 ? 0.02 : -0.02;
    CHECK(axisOverFocus(axes, false).isContradicted());
    CHECK(axisOverFocus(axes, true).isContradicted());
}
