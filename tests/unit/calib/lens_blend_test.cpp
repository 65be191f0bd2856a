#include "calib/lens_blend.h"

#include <catch2/catch.hpp>

using namespace plateloom;
using calib::angleBetween_deg;
using calib::blendLenses;
using calib::blendPoses;
using calib::DistortionDirection;

namespace {

calib::Lens lensAt(double focal_mm, double focus_m, double t_stop, double k1) {
    calib::Lens lens;
    lens.focal_mm = focal_mm;
    lens.focus_m = focus_m;
    lens.t_stop = t_stop;
    lens.distortion.radial = {k1, 0, k1 * k1, 0, 0, 0};
    lens.distortion.tangential = {k1 / 10, -k1 / 20};
    lens.distortion_offset_mm = {0.1, -0.2};
    lens.projection_offset_mm = {-0.3, 0.4};
    lens.shading = {1e-3, 1e-6, 0};
    return lens;
}

}  // namespace

TEST_CASE("At its ends a blend is the samples themselves, to the last bit") {
    const auto a = lensAt(28, 1.7, 2.8, 1e-4), b = lensAt(28.7, 5.3, 4, 3e-4);
    CHECK(blendLenses(a, b, 0).focal_mm == a.focal_mm);
    CHECK(blendLenses(a, b, 1).focal_mm == b.focal_mm);
    CHECK(*blendLenses(a, b, 1).focus_m == *b.focus_m);
    CHECK(blendLenses(a, b, 1).distortion.radial == b.distortion.radial);
}

TEST_CASE("A focus pull goes evenly in 1/m, an iris pull in stops, the rest in its own unit") {
    const auto a = lensAt(28, 1, 2, 1e-4), b = lensAt(30, 3, 8, 3e-4);
    const auto half = blendLenses(a, b, 0.5);
    CHECK(half.focal_mm == Approx(29));
    CHECK(*half.focus_m == Approx(1.5));  // 1/m: (1 + 1/3) / 2 = 2/3
    CHECK(*half.t_stop == Approx(4));     // T2 to T8 is four stops
    CHECK(half.distortion.radial[0] == Approx(2e-4));
    CHECK(half.distortion.tangential[1] == Approx(-1e-5));
    auto far = b;
    far.focus_m = std::numeric_limits<double>::infinity();
    CHECK(*blendLenses(a, far, 0.5).focus_m == Approx(2));
}

TEST_CASE("Polynomials of opposite directions have nothing between them, unless one is empty") {
    auto a = lensAt(28, 1, 2, 1e-4), b = a;
    b.distortion.direction = DistortionDirection::flat_to_recorded;
    CHECK_FALSE(calib::canBlend(a, b));
    a.distortion = {};
    REQUIRE(calib::canBlend(a, b));
    CHECK(blendLenses(a, b, 0.5).distortion.direction == DistortionDirection::flat_to_recorded);
    CHECK(blendLenses(b, a, 0.5).distortion.direction == DistortionDirection::flat_to_recorded);
}

TEST_CASE("A pose blend turns the shortest way at constant speed") {
    const auto over_the_back = blendPoses({170, 0, 0}, {-170, 0, 0}, 0.25);
    CHECK(over_the_back.pan_deg == Approx(175));
    const calib::PanTiltRoll a{10, 20, 5}, b{40, -10, -3};
    const auto Ra = worldFromCamera(a), Rb = worldFromCamera(b);
    const double whole = angleBetween_deg(Ra, Rb);
    for (const double share : {0.1, 0.5, 0.8}) {
        const auto R = worldFromCamera(blendPoses(a, b, share));
        CHECK(angleBetween_deg(Ra, R) == Approx(share * whole).epsilon(1e-9));
        CHECK(angleBetween_deg(R, Rb) == Approx((1 - share) * whole).epsilon(1e-9));
    }
}
