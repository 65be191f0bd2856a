// What a plan says beside published figures.
#include <catch2/catch.hpp>

#include "stitch/plan/plan_figures.h"

using namespace plateloom::stitch;

TEST_CASE("Hyperfocal distances agree with printed tables") {
    // H = f² / (N c) + f; the circle of 0.03 mm is the 36 x 24 mm frame's customary one. As tables
    // in photographic handbooks print them; from memory.
    struct Entry {
        double focal_mm, f_stop, circle_mm, metres;
    };
    for (const Entry& e : {Entry{50, 8, 0.03, 10.5}, Entry{24, 8, 0.03, 2.42},
                           Entry{35, 11, 0.03, 3.75}, Entry{85, 5.6, 0.03, 43.1}})
        CHECK(hyperfocal_m(e.focal_mm, e.f_stop, e.circle_mm) == Approx(e.metres).epsilon(0.005));
}

TEST_CASE("A band of the sphere has the area of a zone") {
    // Archimedes: 2 pi R² (sin b - sin a), of 4 pi R².
    CHECK(bandShare(-90, 90, 360) == Approx(1.0));
    CHECK(bandShare(0, 90, 360) == Approx(0.5));
    CHECK(bandShare(-30, 30, 360) == Approx(0.5));
    CHECK(bandShare(0, 30, 90) == Approx(1.0 / 16));
}
