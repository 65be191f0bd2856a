// Angles of view of rectilinear lenses on the 36 x 24 mm frame, as lens tables print them. From
// memory of such tables; each is 2 atan(extent / 2F), rounded as there.
#include <catch2/catch.hpp>

#include "calib/sensor.h"

using plateloom::calib::angleOfView_deg;

TEST_CASE("Angles of view agree with the printed tables") {
    struct Entry {
        double extent_mm, focal_mm, degrees;
    };
    const double diagonal_mm = std::hypot(36, 24);
    for (const Entry& e :
         {Entry{36, 18, 90.0}, Entry{36, 24, 73.7}, Entry{36, 28, 65.5}, Entry{36, 35, 54.4},
          Entry{36, 50, 39.6}, Entry{36, 85, 23.9}, Entry{36, 135, 15.2}, Entry{24, 50, 27.0},
          Entry{24, 24, 53.1}, Entry{diagonal_mm, 50, 46.8}, Entry{diagonal_mm, 24, 84.1}})
        CHECK(angleOfView_deg(e.extent_mm, e.focal_mm) == Approx(e.degrees).margin(0.05));
}
