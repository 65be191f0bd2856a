#include "calib/first_zero.h"

#include <catch2/catch.hpp>
#include <random>

using plateloom::calib::firstZero;

TEST_CASE("The first of several zeros is found, and none where there is none") {
    // (x - 1)(x - 2)(x - 5) = -10 + 17 x - 8 x² + x³, turned to begin above zero.
    const std::vector<double> cubic{10, -17, 8, -1};
    CHECK(firstZero(cubic, 10).value() == Approx(1).epsilon(1e-12));
    CHECK_FALSE(firstZero(cubic, 0.999));
    CHECK_FALSE(firstZero({1, 0, 1}, 100));
    CHECK(firstZero({-1, 5}, 1).value() == 0);
    CHECK(firstZero({1, std::nan("")}, 1).value() == 0);
}

TEST_CASE("A dip far narrower than any grid is not stepped over") {
    // (x - 3)² - 1e-14: below zero for two ten-millionths only.
    CHECK(firstZero({9 - 1e-14, -6, 1}, 160).value() == Approx(3).margin(1e-6));
    CHECK_FALSE(firstZero({9 + 1e-6, -6, 1}, 160));
}

TEST_CASE("No sample before the first zero is below zero, and just after it one is") {
    std::mt19937 random(7);
    std::uniform_real_distribution<double> coefficient(-1, 1);
    const auto at = [](const std::vector<double>& c, double x) {
        double value = 0;
        for (size_t i = c.size(); i-- > 0;) value = value * x + c[i];
        return value;
    };
    for (int trial = 0; trial < 300; ++trial) {
        std::vector<double> c(14);
        for (double& v : c) v = coefficient(random);
        c[0] = std::abs(c[0]) + 0.01;
        const auto zero = firstZero(c, 2);
        const double end = zero.value_or(2);
        for (int i = 0; i < 500; ++i) REQUIRE(at(c, 0.999999 * end * i / 500) > 0);
        if (zero) CHECK(std::abs(at(c, *zero)) < 1e-8);
    }
}
