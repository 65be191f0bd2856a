#include "stitch/solve/rotation_ring.h"

#include <Eigen/Geometry>
#include <catch2/catch.hpp>

using namespace plateloom::stitch;

namespace {

constexpr double kRadPerDeg = 3.14159265358979323846 / 180.0;

RingStep pan(double deg, double weight) {
    return {Eigen::AngleAxisd(deg * kRadPerDeg, Vector3d::UnitZ()).toRotationMatrix(), weight};
}

}  // namespace

TEST_CASE("A ring of twenty takes the steps that close it, however good the others look") {
    // Four ways at each place: 4^20 combinations.
    const std::vector<std::vector<RingStep>> steps(
        20, {pan(22, 9), pan(24, 9.5), pan(18, 8), pan(21, 9)});
    const auto choice = closeRing(steps, 0.5 * kRadPerDeg);
    CHECK(choice == std::vector<int>(20, 2));
}

TEST_CASE("Of several closed ways round, the one of most weight is taken") {
    std::vector<std::vector<RingStep>> steps(6, {pan(60, 5)});
    steps[1].push_back(pan(55, 6));
    steps[3].push_back(pan(65, 6));
    steps[4].push_back(pan(64, 9));  // alone it can't close
    const auto choice = closeRing(steps, 0.2 * kRadPerDeg);
    CHECK(choice == std::vector<int>{0, 1, 0, 1, 0, 0});
}

TEST_CASE("A ring that no choice closes has none") {
    const std::vector<std::vector<RingStep>> steps(8, {pan(44, 5), pan(44.2, 5)});
    CHECK(closeRing(steps, 0.2 * kRadPerDeg).empty());
}
