#include "stitch/solve/tie_rotation.h"

#include <catch2/catch.hpp>

#include "tests/unit/stitch/solve/turned_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;

TEST_CASE("A pair's rotation follows a lens that has become better known") {
    const calib::Sensor sensor{36, 20.25, 2048, 1152};
    calib::Lens truth, guess;
    truth.focal_mm = 24;
    guess.focal_mm = 22.5;
    const auto set =
        turnedPlates({calib::worldFromCamera({0, 0, 0}), calib::worldFromCamera({38, 4, 2})}, truth,
                     truth, sensor);
    std::mt19937 random(1);
    PairRotation pair;
    pair.a = 0;
    pair.b = 1;
    pair.ties = tiesBetween(set, 0, 1, 60, 0.5, random);
    REQUIRE(pair.ties.size() == 60);
    for (size_t t = 0; t < 15; ++t) pair.ties[4 * t].px_b += Vector2d(35, -20);  // a window on
    pair.inliers = pair.in_overlap = 60;
    const Matrix3d bFromA = set.worldFromCamera[1].transpose() * set.worldFromCamera[0];
    // As the wrong focal length had it: the angle between the plates is 1 / 0.94 of the true one.
    pair.bFromA = calib::worldFromCamera({2.4, 0, 0}).transpose() * bFromA;

    const calib::LensMap known(truth, sensor), unknown(guess, sensor);
    const auto again = turnedAgain(pair, known, known, 4);
    CHECK(calib::angleBetween_deg(again.bFromA, bFromA) < 0.03);
    CHECK(again.inliers == 45);
    CHECK(again.ties.size() == 60);
    CHECK(turnedAgain(pair, unknown, unknown, 4).inliers < 45);
}
