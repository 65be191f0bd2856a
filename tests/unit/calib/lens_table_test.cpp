#include "calib/lens_table.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

using namespace plateloom::calib;

namespace {

const Sensor kSensor{36, 20.25, 4096, 2304};
constexpr double kFocuses_m[] = {0.6, 1.0, 1.8, 4.0, 12.0};
constexpr double kIrises[] = {2.0, 2.8, 4.0, 5.6};

// A smooth invented lens: it breathes, bends less when focused near, vignettes wide open, and more
// so when focused far.
Lens lensOf(double focus_m, double t_stop, double nominal_mm = 28) {
    const double near = 1 / focus_m;
    Lens lens;
    lens.focal_mm = nominal_mm * (1.003 + 0.021 * near + 0.004 * near * near);
    lens.distortion.radial = {1.45e-4 * (1 - 0.25 * near + 0.05 * near * near),
                              0,
                              3.2e-8 * (1 + 0.3 * near),
                              0,
                              -2e-11,
                              0};
    lens.distortion.tangential = {1.6e-5 * (1 - 0.2 * near), -1.1e-5};
    lens.distortion_offset_mm = {0.08 + 0.02 * near, -0.05};
    lens.projection_offset_mm = {-0.06, 0.11 - 0.03 * near};
    const double loss =
        0.17 + (0.30 - 0.02 * near) / (1 + std::exp(1.3 * (2 * std::log2(t_stop) - 3.3)));
    const double r2 = 426.4;
    lens.shading = {0.62 * loss / r2, 0.45 * loss / (r2 * r2), -0.07 * loss / (r2 * r2 * r2)};
    lens.focus_m = focus_m;
    lens.t_stop = t_stop;
    return lens;
}

MeasuredLens measuredAt(double focus_m, double t_stop, double nominal_mm = 28) {
    MeasuredLens out;
    out.setting = {focus_m, t_stop, nominal_mm};
    out.lens = lensOf(focus_m, t_stop, nominal_mm);
    out.geometry = out.shading = true;
    return out;
}

template <class Keep>
LensTable tableOf(const Keep& keep) {
    LensTable table;
    table.sensor = kSensor;
    for (const double focus_m : kFocuses_m)
        for (const double t_stop : kIrises)
            if (keep(focus_m, t_stop)) table.measured.push_back(measuredAt(focus_m, t_stop));
    return table;
}

LensTable wholeTable() {
    return tableOf([](double, double) { return true; });
}

// Over the whole frame, in pixels, of where a ray is recorded; and in shares of the light.
struct Apart {
    double px = 0, light = 0;
};

Apart apart(const Lens& a, const Lens& b) {
    const LensMap one(a, kSensor), other(b, kSensor);
    Apart out;
    for (int j = 0; j <= 8; ++j)
        for (int i = 0; i <= 8; ++i) {
            const Vector2d at(i * kSensor.width_px / 8.0, j * kSensor.height_px / 8.0);
            const Vector2d there = *one.recordedFromRay(*other.rayFromRecorded(at));
            out.px = std::max(out.px, (there - at).norm());
            out.light =
                std::max(out.light, std::abs(one.transmission(at) / other.transmission(at) - 1));
        }
    return out;
}

}  // namespace

TEST_CASE("a measured setting is given back as it was measured", "[lens_table]") {
    const LensLookup lookup(wholeTable());
    for (const double focus_m : kFocuses_m)
        for (const double t_stop : kIrises) {
            const LookedUp found = lookup.at({focus_m, t_stop, 28.0});
            const Apart off = apart(found.lens, lensOf(focus_m, t_stop));
            CHECK(off.px < 1e-6);
            CHECK(off.light < 1e-9);
            CHECK(found.warnings.empty());
            CHECK(found.missing.empty());
            CHECK((found.geometry && found.shading));
        }
}

TEST_CASE("a setting left out of five focus by four iris is looked up within 0.1 px and 0.5 %",
          "[lens_table]") {
    for (const double focus_m : kFocuses_m)
        for (const double t_stop : kIrises) {
            const LensTable table =
                tableOf([&](double f, double t) { return f != focus_m || t != t_stop; });
            const LookedUp found = lensAt(table, {focus_m, t_stop, 28.0});
            const Apart off = apart(found.lens, lensOf(focus_m, t_stop));
            INFO("focus " << focus_m << " T" << t_stop << ": " << off.px << " px, " << off.light);
            CHECK(off.px < 0.1);
            // At a corner of the grid nothing lies on the far side, and a warning says so.
            const bool corner = (focus_m == 0.6 || focus_m == 12) && (t_stop == 2 || t_stop == 5.6);
            CHECK(off.light < (corner ? 0.01 : 0.005));
            CHECK(found.warnings.empty() != corner);
        }
}

TEST_CASE("between the measured settings the lens is within 0.1 px and 0.5 %", "[lens_table]") {
    const LensLookup lookup(wholeTable());
    for (const double focus_m : {0.7, 0.85, 1.3, 2.5, 6.0, 10.0})
        for (const double t_stop : {2.4, 3.4, 4.8}) {
            const LookedUp found = lookup.at({focus_m, t_stop, 28.0});
            const Apart off = apart(found.lens, lensOf(focus_m, t_stop));
            INFO("focus " << focus_m << " T" << t_stop << ": " << off.px << " px, " << off.light);
            CHECK(off.px < 0.1);
            CHECK(off.light < 0.005);
            CHECK(found.warnings.empty());
        }
}

TEST_CASE("a look-up goes without a jump or a kink through the measured settings", "[lens_table]") {
    const LensLookup lookup(wholeTable());
    const auto corner_loss = [&](double stops) {
        const LookedUp found = lookup.at({2.0, std::exp2(stops / 2), 28.0});
        return 1 - found.lens.shading.transmission(426.4);
    };
    constexpr double kStep = 0.02;  // stops
    double last_slope = 0, last = corner_loss(2);
    for (double stops = 2 + kStep; stops < 4.97; stops += kStep) {
        const double here = corner_loss(stops), slope = (here - last) / kStep;
        CHECK(std::abs(here - last) < 0.01);
        if (stops > 2 + 1.5 * kStep) CHECK(std::abs(slope - last_slope) < 0.02);
        CHECK(here <= last + 1e-12);  // monotone, as what was measured
        last = here;
        last_slope = slope;
    }
}

TEST_CASE("beyond the measured range the nearest setting is taken, and a warning says so",
          "[lens_table]") {
    const LensLookup lookup(wholeTable());
    const LookedUp near = lookup.at({0.4, 4.0, 28.0});
    CHECK(apart(near.lens, lensOf(0.6, 4.0)).px < 1e-6);
    REQUIRE(near.warnings.size() == 2);
    CHECK(near.warnings[0] ==
          "focus 0.4 m lies outside the measured 0.6 m to 12 m: the lens's "
          "geometry at 0.6 m is taken");
    CHECK(near.warnings[1].find("shading") != std::string::npos);

    const LookedUp open = lookup.at({1.0, 1.4, 28.0});
    REQUIRE(open.warnings.size() == 1);
    CHECK(open.warnings[0] ==
          "iris T1.4 lies outside the measured T2 to T5.6: the lens's shading at T2 is taken");
    const LookedUp infinity = lookup.at({1e9, 4.0, 28.0});
    REQUIRE(!infinity.warnings.empty());
    CHECK(infinity.warnings[0].find("focus infinity lies outside") == 0);
}

TEST_CASE("a table of one point serves that point, anything else with a warning", "[lens_table]") {
    LensTable table;
    table.sensor = kSensor;
    table.measured = {measuredAt(2.0, 2.8)};
    CHECK(lensAt(table, {2.0, 2.8, 28.0}).warnings.empty());
    CHECK(lensAt(table, {2.005, 2.83, 27.9}).warnings.empty());  // the same, read differently
    CHECK(lensAt(table, {}).warnings.empty());                   // nothing says otherwise
    const LookedUp other = lensAt(table, {5.0, 5.6, 28.0});
    REQUIRE(other.warnings.size() == 3);  // focus for both kinds, iris for shading
    CHECK(other.warnings[0] ==
          "the lens's geometry was measured at focus 2 m alone, which is taken");
    CHECK(apart(other.lens, lensOf(2.0, 2.8)).px < 1e-9);
    const LookedUp zoomed = lensAt(table, {2.0, 2.8, 35.0});
    REQUIRE(!zoomed.warnings.empty());
    CHECK(zoomed.warnings[0].find("focal length 28 mm alone") != std::string::npos);
}

TEST_CASE("geometry and shading measured at different settings are looked up each on its own",
          "[lens_table]") {
    LensTable table;
    table.sensor = kSensor;
    for (const double focus_m : kFocuses_m) {
        table.measured.push_back(measuredAt(focus_m, 4.0));
        table.measured.back().shading = false;
        table.measured.back().lens.shading = {};
    }
    for (const double t_stop : kIrises) {
        table.measured.push_back(measuredAt(4.0, t_stop));
        table.measured.back().geometry = false;
        table.measured.back().lens.focal_mm = 0;
    }
    const LookedUp found = lensAt(table, {4.0, 2.0, 28.0});
    const Apart off = apart(found.lens, lensOf(4.0, 2.0));
    CHECK(off.px < 1e-6);  // the chart's iris does not matter
    CHECK(off.light < 1e-9);
    CHECK(found.warnings.empty());
    const LookedUp nearer = lensAt(table, {1.0, 2.0, 28.0});
    REQUIRE(nearer.warnings.size() == 1);
    CHECK(nearer.warnings[0] ==
          "the lens's shading was measured at focus 4 m alone, which is taken");
}

TEST_CASE("what the table depends on and the setting does not say is named", "[lens_table]") {
    const LensLookup lookup(wholeTable());
    CHECK(lookup.at({std::nullopt, 4.0, 28.0}).missing ==
          std::vector<std::string>{"focus distance"});
    CHECK(lookup.at({1.0, std::nullopt, 28.0}).missing == std::vector<std::string>{"T-stop"});
    CHECK(lookup.at({1.0, 4.0, std::nullopt}).missing.empty());  // a prime

    // A lens that focus does not change need not be asked for it.
    LensTable stiff = wholeTable();
    for (MeasuredLens& at : stiff.measured) {
        const LensSetting setting = at.setting;
        at.lens = lensOf(1.0, *setting.t_stop);
    }
    CHECK(lensAt(stiff, {std::nullopt, 4.0, 28.0}).missing.empty());
}

TEST_CASE("a setting that none of its neighbours encloses is carried over, with a warning",
          "[lens_table]") {
    // All irises at one focus, all focuses at one iris.
    const LensTable table = tableOf([](double f, double t) { return f == 1.8 || t == 2.8; });
    const LookedUp found = lensAt(table, {4.0, 5.6, 28.0});
    CHECK(apart(found.lens, lensOf(4.0, 5.6)).light < 0.02);
    REQUIRE(!found.warnings.empty());
    CHECK(found.warnings.back().find("carried over") != std::string::npos);
    CHECK(lensAt(table, {4.0, 2.8, 28.0}).warnings.empty());
}

TEST_CASE("a zoom is looked up in the logarithm of its focal length, focus marks as they come",
          "[lens_table]") {
    LensTable table;
    table.sensor = kSensor;
    for (const double nominal_mm : {24.0, 32.0, 43.0, 58.0})
        for (const double focus_m : {0.7 + 0.01 * nominal_mm, 1.5 + 0.02 * nominal_mm, 9.0})
            table.measured.push_back(measuredAt(focus_m, 4.0, nominal_mm));
    const LookedUp found = lensAt(table, {2.0, 4.0, 37.0});
    CHECK(found.lens.focal_mm == Approx(lensOf(2.0, 4.0, 37.0).focal_mm).epsilon(5e-4));
    CHECK(found.missing.empty());
    CHECK(!lensAt(table, {2.0, 4.0, std::nullopt}).missing.empty());
}
