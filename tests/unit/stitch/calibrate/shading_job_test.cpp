#include "stitch/calibrate/shading_job.h"

#include <catch2/catch.hpp>
#include <cmath>

#include "io/input_error.h"
#include "stitch/calibrate/shading_summary.h"
#include "tests/program.h"
#include "world/flat_field.h"
#include "world/recording.h"
#include "world/shoot.h"

using namespace plateloom;
using namespace plateloom::stitch;
using plateloom::test::Folder;

namespace {

const calib::Sensor kSensor{36, 20.25, 640, 360};

calib::Lens lensAt(double t_stop) {
    return world::inventedLens(world::LensLook::barrel,
                               calib::DistortionDirection::recorded_to_flat, 28, 4, t_stop);
}

// A tilted lamp, dust, dead pixels.
world::FlatField fieldOf(uint32_t seed) {
    world::FlatField field;
    field.tilt = {0.11, -0.07};
    field.dust_spots = 30;
    field.dead_pixels = 50;
    field.seed = seed;
    return field;
}

void write(const std::filesystem::path& path, double t_stop, const world::FlatField& field,
           const calib::Sensor& sensor = kSensor) {
    const calib::Lens lens = lensAt(t_stop);
    world::writePrepExr(path, renderField(calib::LensMap(lens, sensor), field), lens, 28, sensor);
}

ShadingMeasurement measure(const Folder& folder, const std::string& report = "") {
    ShadingRequest request;
    request.pictures.pictures = {folder.path().string()};
    if (!report.empty()) request.pictures.report = folder / report;
    return measureShading(request, [](const std::string&, double) {});
}

double worstError(const calib::Shading& found, double t_stop) {
    const calib::Shading truth = lensAt(t_stop).shading;
    double worst = 0;
    for (double r = 0; r <= kSensor.halfDiagonal_mm(); r += 0.25)
        worst =
            std::max(worst, std::abs(found.transmission(r * r) / truth.transmission(r * r) - 1));
    return worst;
}

}  // namespace

TEST_CASE(
    "shading within 0.3 % over the frame from noisy fields of a tilted lamp, dust and dead "
    "pixels",
    "[shading_job]") {
    const Folder folder;
    write(folder / "open.exr", 2.0, fieldOf(1));
    write(folder / "closed.exr", 5.6, fieldOf(2));
    const ShadingMeasurement measured = measure(folder);
    REQUIRE(measured.settings.size() == 2);
    for (const ShadingSetting& at : measured.settings) {
        CHECK(worstError(at.shading, *at.setting.t_stop) < 0.003);
        CHECK(at.setting.focus_m == Approx(4));
        CHECK(at.ignored_cells > 0);
        CHECK(at.used_cells > 1000);
        REQUIRE(at.profile.size() > 15);
        for (const ShadingRing& ring : at.profile)
            CHECK(ring.light ==
                  Approx(at.shading.transmission(ring.radius_mm * ring.radius_mm)).epsilon(0.01));
    }
    CHECK(measured.warnings.empty());
    CHECK_FALSE(measured.bow_separated);
    REQUIRE(measured.notes.size() == 1);
    CHECK(measured.notes[0].find("can't be told from falloff") != std::string::npos);
    const calib::LensTable table = measured.table();
    CHECK((table.measured[0].shading && !table.measured[0].geometry));
}

TEST_CASE("a lamp brighter in its middle is told from falloff by pictures that face several ways",
          "[shading_job]") {
    const Folder folder;
    std::string report = "file,pan_deg,tilt_deg,roll_deg\n";
    const calib::PanTiltRoll ways[] = {{0, 0, 0}, {9, 0, 0}, {-9, 5, 0}, {0, -5, 90}};
    for (int k = 0; k < 4; ++k) {
        world::FlatField field = fieldOf(uint32_t(10 + k));
        field.bend << -0.06, 0.01, 0.01, 0.01;
        field.facing = ways[k];
        const std::string file = "field" + std::to_string(k) + ".exr";
        write(folder / file, 2.8, field);
        report += file + "," + std::to_string(ways[k].pan_deg) + "," +
                  std::to_string(ways[k].tilt_deg) + "," + std::to_string(ways[k].roll_deg) + "\n";
    }
    test::put(folder / "report.csv", report);
    CHECK(worstError(measure(folder).settings[0].shading, 2.8) > 0.01);
    const ShadingMeasurement measured = measure(folder, "report.csv");
    CHECK(measured.bow_separated);
    CHECK(worstError(measured.settings[0].shading, 2.8) < 0.003);
}

TEST_CASE("the cosine-fourth part and what opening up adds are said apart", "[shading_job]") {
    const Folder folder;
    write(folder / "a.exr", 2.0, fieldOf(1));
    write(folder / "b.exr", 5.6, fieldOf(2));
    const ShadingMeasurement measured = measure(folder);
    const FalloffAt& corner = measured.settings[0].heights.back();
    const double reach = kSensor.halfDiagonal_mm();
    const double natural = -std::log2(calib::cosineFourth(reach, 28));
    CHECK(*corner.natural_stops == Approx(natural));
    CHECK(corner.stops == Approx(*corner.natural_stops + *corner.mechanical_stops));
    const auto stops = [&](double t) {
        return -std::log2(lensAt(t).shading.transmission(reach * reach));
    };
    CHECK(*corner.opened_stops == Approx(stops(2.0) - stops(5.6)).margin(0.01));
    CHECK_FALSE(measured.settings[1].heights.back().opened_stops);
    CHECK(linesOf(measured).size() == 7);
}

TEST_CASE("the camera's black is taken off before anything is divided", "[shading_job]") {
    const Folder folder;
    world::FlatField field = fieldOf(3);
    field.black = 0.03;
    write(folder / "a.exr", 2.0, field);
    ShadingRequest request;
    request.pictures.pictures = {folder.path().string()};
    const auto quiet = [](const std::string&, double) {};
    CHECK(worstError(measureShading(request, quiet).settings[0].shading, 2.0) > 0.01);
    request.black = 0.03;
    CHECK(worstError(measureShading(request, quiet).settings[0].shading, 2.0) < 0.003);
}

TEST_CASE("what is no usable flat field is refused by name", "[shading_job]") {
    const Folder folder;
    write(folder / "good.exr", 2.0, fieldOf(1));
    world::FlatField field = fieldOf(2);
    SECTION("clipped in the middle, dead pixels above the clip level") {
        field.level = 1.0;
        field.dead_pixels = 0;
        field.clips_at = 0.95;
        write(folder / "bad.exr", 4.0, field);
        CHECK_THROWS_WITH(measure(folder), Catch::Contains("bad.exr: is clipped over"));
    }
    SECTION("clipped all over") {
        field.level = 3.0;
        field.clips_at = 1;
        write(folder / "bad.exr", 4.0, field);
        CHECK_THROWS_WITH(measure(folder), Catch::Contains("is clipped over 100 %"));
    }
    SECTION("textured") {
        field.texture = {0.12, 60};
        write(folder / "bad.exr", 4.0, field);
        CHECK_THROWS_WITH(measure(folder), Catch::Contains("bad.exr: is not a flat field"));
    }
    SECTION("black") {
        field.level = 0;
        field.noise = 0;
        field.dead_pixels = 0;
        write(folder / "bad.exr", 4.0, field);
        CHECK_THROWS_WITH(measure(folder), Catch::Contains("bad.exr: holds no light"));
    }
    SECTION("too dark to tell") {
        field.level = 0.0004;
        field.noise = 0.02;
        write(folder / "bad.exr", 4.0, field);
        CHECK_THROWS_AS(measure(folder), io::InputError);
    }
    SECTION("of another shape") {
        write(folder / "tall.exr", 4.0, field, {36, 24, 640, 427});
        CHECK_THROWS_WITH(measure(folder), Catch::Contains("another shape"));
    }
}
