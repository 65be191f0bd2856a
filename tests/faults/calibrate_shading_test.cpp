// Flat fields that are none: refused by name, with the right exit status, and LENS.json as it was.
#include <catch2/catch.hpp>

#include "io/lens_table_file.h"
#include "tests/program.h"
#include "world/flat_field.h"
#include "world/recording.h"
#include "world/shoot.h"

using namespace plateloom;
using namespace plateloom::test;
using Catch::Matchers::Contains;

namespace {

const calib::Sensor kSensor{36, 20.25, 320, 180};

calib::Lens lens() {
    return world::inventedLens(world::LensLook::barrel,
                               calib::DistortionDirection::recorded_to_flat, 28, 2, 2.8);
}

void writeField(const std::filesystem::path& path, const world::FlatField& field,
                const calib::Sensor& sensor = kSensor) {
    world::writePrepExr(path, renderField(calib::LensMap(lens(), sensor), field), lens(), 28,
                        sensor);
}

// The chart of a lens, measured on pictures of this sensor.
void writeChartTable(const std::filesystem::path& path, const calib::Sensor& sensor) {
    calib::MeasuredLens at;
    at.setting = {2.0, 2.8, 28.0};
    at.lens = lens();
    at.lens.shading = {};
    at.geometry = true;
    io::addToLensTable(path, {sensor, {at}, "Prime"});
}

ProgramRun calibrate(const Folder& folder, const std::string& more = "") {
    return run("calibrate shading " + quoted(folder / "field.exr") + " -o " +
               quoted(folder / "LENS.json") + " " + more);
}

}  // namespace

TEST_CASE("A clipped flat field is refused, and nothing is written", "[calibrate_shading]") {
    const Folder folder;
    world::FlatField field;
    field.level = 1.02;
    field.clips_at = 1;
    writeField(folder / "field.exr", field);
    const ProgramRun ran = calibrate(folder);
    CHECK(ran.status == 3);
    CHECK_THAT(ran.err, Contains("field.exr: is clipped over") && Contains("expose"));
    CHECK_FALSE(std::filesystem::exists(folder / "LENS.json"));
}

TEST_CASE("A picture that is not a flat field is refused", "[calibrate_shading]") {
    const Folder folder;
    world::FlatField field;
    field.texture = {0.2, 30};
    writeField(folder / "field.exr", field);
    const ProgramRun ran = calibrate(folder);
    CHECK(ran.status == 3);
    CHECK_THAT(ran.err, Contains("field.exr: is not a flat field"));
}

TEST_CASE("Flat fields of another resolution than the chart's serve while the shape is the same",
          "[calibrate_shading]") {
    const Folder folder;
    writeField(folder / "field.exr", {});
    writeChartTable(folder / "LENS.json", {36, 20.25, 4096, 2304});
    const ProgramRun ran = calibrate(folder);
    CHECK(ran.status == 0);
    const calib::LensTable table = io::readLensTable(folder / "LENS.json");
    REQUIRE(table.measured.size() == 1);
    CHECK((table.measured[0].geometry && table.measured[0].shading));
    CHECK(table.measured[0].lens.shading.a1 == Approx(lens().shading.a1).epsilon(0.05));
}

TEST_CASE("Flat fields of another shape or sensor than the chart's are refused",
          "[calibrate_shading]") {
    const Folder folder;
    writeField(folder / "field.exr", {});
    writeChartTable(folder / "LENS.json", {36, 24, 3000, 2000});
    const std::string before = contents(folder / "LENS.json");
    ProgramRun ran = calibrate(folder);
    CHECK(ran.status == 3);
    CHECK_THAT(ran.err, Contains("LENS.json") && Contains("3000 x 2000") &&
                            Contains("another shape") && Contains("320 x 180"));
    std::filesystem::remove(folder / "LENS.json");
    writeChartTable(folder / "LENS.json", kSensor);
    ran = calibrate(folder, "--sensor 24x13.5");
    CHECK(ran.status == 3);
    CHECK_THAT(ran.err, Contains("its sensor is 36 x 20.25 mm, not the 24 x 13.5 mm"));
}

TEST_CASE("What is missing or can't be written is said before the work", "[calibrate_shading]") {
    const Folder folder;
    CHECK(calibrate(folder).status == 3);
    writeField(folder / "field.exr", {});
    put(folder / "LENS.json", "{\"notes\": 1}\n");
    const ProgramRun ran = calibrate(folder);
    CHECK(ran.status == 3);
    CHECK_THAT(ran.err, Contains("no lens table"));
    CHECK(contents(folder / "LENS.json") == "{\"notes\": 1}\n");
    CHECK(run("calibrate shading " + quoted(folder / "field.exr") + " -o " +
              quoted(folder / "missing" / "LENS.json"))
              .status == 4);
    CHECK(run("calibrate shading").status == 2);
}

TEST_CASE("A sensor that nobody names is asked for", "[calibrate_shading]") {
    const Folder folder;
    const io::Picture picture = world::renderField(calib::LensMap(lens(), kSensor), {});
    world::writePlateExr(folder / "field.exr", picture, {}, {}, false);
    const ProgramRun ran = calibrate(folder);
    CHECK(ran.status == 3);
    CHECK_THAT(ran.err, Contains("--sensor 36x20.25"));
    CHECK(calibrate(folder, "--sensor 36x20.25 --t-stop 2.8 --focus 2").status == 0);
}
