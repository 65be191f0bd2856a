#include "stitch/plan/plan_figures.h"

#include <catch2/catch.hpp>
#include <cmath>

#include "calib/angle.h"
#include "stitch/plan/plan_list.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

PlanWish wish28() {
    PlanWish wish;
    calib::Lens lens;
    lens.focal_mm = 28;
    wish.lens = calib::LensMap(lens, {36, 20.25, 4096, 2304});
    return wish;
}

}  // namespace

TEST_CASE("The stop of a hyperfocal distance is the inverse of the distance", "[plan]") {
    for (const double stop : {1.4, 2.8, 5.6, 11.0})
        CHECK(stopOfHyperfocal(35, hyperfocal_m(35, stop, 0.012), 0.012) == Approx(stop));
}

TEST_CASE("Focused at the hyperfocal distance, half of it and infinity blur by the circle",
          "[plan]") {
    // By the thin lens: image distances, then the cone of light through an aperture f / N wide.
    const double f = 28, stop = 2.8, c = 0.0088, H = hyperfocal_m(f, stop, c) * 1000;
    const double sharp = f * H / (H - f), half = f * (H / 2) / (H / 2 - f);
    const double aperture = f / stop;
    CHECK(aperture * (sharp - f) / f == Approx(c).epsilon(1e-9));
    CHECK(aperture * (half - sharp) / half == Approx(c).epsilon(1e-9));
}

TEST_CASE("The pupil's tolerance is that of a simulated turn", "[plan]") {
    // A thing at 3 m and infinity behind it, seen from two places of a pupil that is off the axis.
    const double turn = 45, distance_mm = 3000, angle = 3e-4;
    const double d = pupilTolerance_mm(turn, 3, angle);
    const auto pupil = [&](double pan_deg) {
        return calib::Vector3d(calib::worldFromCamera({pan_deg, 0, 0}) * calib::Vector3d(0, d, 0));
    };
    const calib::Vector3d moved = pupil(turn / 2) - pupil(-turn / 2);
    double worst = 0;
    for (double pan = -90; pan <= 90; pan += 1) {
        const calib::Vector3d thing =
            calib::worldFromCamera({pan, 0, 0}) * calib::Vector3d(0, distance_mm, 0);
        const calib::Vector3d a = thing.normalized(), b = (thing - moved).normalized();
        worst = std::max(worst, std::acos(std::min(1.0, a.dot(b))));
    }
    CHECK(worst <= angle * 1.001);
    CHECK(worst > angle * 0.98);
}

TEST_CASE("Figures of the common wish", "[plan]") {
    const PlanWish wish = wish28();
    const Plan plan = planShots(wish);
    PlanTerms terms;
    terms.nearest_m = 3;
    const PlanFigures f = figuresOf(plan, wish, terms);
    // One pixel at the middle of the plate, 28 mm in pixels of 36 / 4096 mm.
    CHECK(f.panorama_width == Approx(2 * calib::kPi * 28 / (36.0 / 4096)).margin(16));
    CHECK(f.panorama_height * 2 == f.panorama_width);
    CHECK(f.circle_mm == Approx(36.0 / 4096).epsilon(2e-3));
    CHECK(f.plate_bytes == 4096.0 * 2304 * 6);
    CHECK(f.minute_bytes == Approx(f.plate_bytes * 1440));
    CHECK(f.widest_turn_deg == Approx(45).margin(0.01));
    REQUIRE(f.stop_for_nearest);
    CHECK(hyperfocal_m(28, *f.stop_for_nearest, f.circle_mm) == Approx(6));
    CHECK(*f.pupil_mm == Approx(3 * f.pupil_mm_per_m));
}

TEST_CASE("Names of plates follow the pattern", "[plan]") {
    CHECK(fileNameOf("plate.####.exr", 12) == "plate.0012.exr");
    CHECK(fileNameOf("B_##_take.dpx", 123) == "B_123_take.dpx");
    CHECK(fileNameOf("sky.exr", 7) == "sky.0007.exr");
    CHECK(fileNameOf("sky", 7) == "sky.0007");
}
