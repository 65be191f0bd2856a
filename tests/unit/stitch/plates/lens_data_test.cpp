#include "stitch/plates/lens_data.h"

#include <catch2/catch.hpp>

#include "io/input_error.h"
#include "stitch/plates/plate_set.h"

using namespace plateloom;
using namespace plateloom::stitch;
using Catch::Matchers::Contains;

namespace {

calib::MeasuredLens measuredAt(double focus_m, double t_stop) {
    calib::MeasuredLens out;
    out.setting = {focus_m, t_stop, 28.0};
    out.lens.focal_mm = 28.1 + 0.6 / focus_m;
    out.lens.distortion.radial = {1.4e-4 * (1 - 0.16 / focus_m), 0, 3e-8, 0, 0, 0};
    out.lens.projection_offset_mm = {-0.06, 0.11};
    out.lens.shading = {1e-3 / t_stop, 1e-6 / t_stop, 0};
    out.lens.t_stop = t_stop;
    out.geometry = out.shading = true;
    return out;
}

TableInUse inUse(const calib::LensTable& table) {
    return {"LENS.json", table, calib::LensLookup(table)};
}

calib::LensTable wholeTable() {
    calib::LensTable table;
    table.sensor = {36, 20.25, 2048, 1152};
    for (const double focus_m : {1.0, 2.0, 5.0})
        for (const double t_stop : {2.8, 4.0})
            table.measured.push_back(measuredAt(focus_m, t_stop));
    return table;
}

io::PlateFile plate(std::optional<double> focus_m, std::optional<double> t_stop) {
    io::PlateFile file;
    file.path = "plate.1001.exr";
    file.width = 1024;
    file.height = 576;
    file.focus_m = focus_m;
    file.t_stop = t_stop;
    return file;
}

PlateSet describe(const io::PlateFile& file, const calib::LensTable& table,
                  const std::vector<io::LensTrack>& tracks = {},
                  const io::CameraReport* report = nullptr) {
    const TableInUse in_use = inUse(table);
    return describePlates({file}, tracks, report, {}, &in_use);
}

}  // namespace

TEST_CASE("A plate whose header tells its rings gets its own lens from the table", "[lens_data]") {
    const PlateSet set = describe(plate(2.0, 4.0), wholeTable());
    const Plate& found = set.plates[0];
    const calib::Lens truth = measuredAt(2.0, 4.0).lens;
    CHECK(found.lens.focal_mm == Approx(truth.focal_mm).epsilon(1e-12));
    CHECK(found.lens.distortion.radial[0] == Approx(truth.distortion.radial[0]));
    CHECK(found.lens.projection_offset_mm == truth.projection_offset_mm);
    CHECK(found.lens.shading.a1 == Approx(truth.shading.a1));
    CHECK((found.distortion_known && found.shading_known));
    CHECK(found.focal_sigma == 0.001);
    CHECK(found.lens.focus_m == 2.0);
    CHECK(found.lens.t_stop == 4.0);
    CHECK(found.sensor.width_mm == 36);  // the table's
    CHECK(found.sensor.width_px == 1024);
    CHECK(set.warnings.empty());
    REQUIRE(set.notes.size() == 1);
    CHECK(set.notes[0] == "lens from LENS.json: geometry measured at 6 settings, shading at 6");
}

TEST_CASE("A camera report's rings come before the header's", "[lens_data]") {
    io::CameraReport report;
    io::ReportLine line;
    line.file = "plate.1001.exr";
    line.focus_m = 5.0;
    report.lines = {line};
    const PlateSet set = describe(plate(2.0, 4.0), wholeTable(), {}, &report);
    CHECK(set.plates[0].lens.focal_mm == Approx(measuredAt(5.0, 4.0).lens.focal_mm));
}

TEST_CASE("A ring that the table depends on and nobody tells of is asked for by name",
          "[lens_data]") {
    CHECK_THROWS_WITH(describe(plate(std::nullopt, 4.0), wholeTable()),
                      Contains("plate.1001.exr: says no focus distance") && Contains("LENS.json"));
    CHECK_THROWS_WITH(describe(plate(2.0, std::nullopt), wholeTable()), Contains("says no T-stop"));
    // A lens measured at one setting is what it is.
    calib::LensTable one = wholeTable();
    one.measured.resize(1);
    const PlateSet set = describe(plate(std::nullopt, std::nullopt), one);
    CHECK(set.plates[0].distortion_known);
    CHECK(set.warnings.empty());
}

TEST_CASE("Rings outside the measured range are served with a warning that names the plate",
          "[lens_data]") {
    const PlateSet set = describe(plate(0.4, 4.0), wholeTable());
    REQUIRE(set.warnings.size() == 2);
    CHECK(set.warnings[0] ==
          "plate.1001.exr: focus 0.4 m lies outside the measured 1 m to 5 m: the lens's geometry "
          "at 1 m is taken");
}

TEST_CASE("What was not measured stays unknown", "[lens_data]") {
    calib::LensTable table = wholeTable();
    for (auto& at : table.measured) at.shading = false;
    CHECK_FALSE(describe(plate(2.0, std::nullopt), table).plates[0].shading_known);
    table = wholeTable();
    for (auto& at : table.measured) at.geometry = false;
    io::PlateFile file = plate(2.0, 4.0);
    file.focal_mm = 28;
    const Plate found = describe(file, table).plates[0];
    CHECK((found.shading_known && !found.distortion_known));
    CHECK(found.focal_sigma == 0.03);  // the number engraved
}

TEST_CASE("A track keeps its own lens, and takes from the table what it leaves out",
          "[lens_data]") {
    io::LensTrack track;
    track.path = "track.jsonl";
    io::LensSample sample;
    sample.lens.focus_m = 2.0;
    sample.lens.t_stop = 2.8;
    sample.pose = calib::PanTiltRoll{30, 5, 0};
    track.samples = {sample};
    const io::PlateFile file = plate(std::nullopt, std::nullopt);
    const Plate encoders_only = describe(file, wholeTable(), {track}).plates[0];
    CHECK(encoders_only.lens.focal_mm == Approx(measuredAt(2.0, 2.8).lens.focal_mm));
    CHECK(encoders_only.pose->pan_deg == 30);
    CHECK((encoders_only.distortion_known && encoders_only.shading_known));

    sample.has_focal = sample.has_distortion = true;
    sample.lens.focal_mm = 28.7;
    sample.lens.distortion.radial = {1e-4, 0, 0, 0, 0, 0};
    track.samples = {sample};
    const Plate without_falloff = describe(file, wholeTable(), {track}).plates[0];
    CHECK(without_falloff.lens.focal_mm == 28.7);
    CHECK(without_falloff.lens.distortion.radial[0] == 1e-4);
    CHECK(without_falloff.lens.shading.a1 == Approx(measuredAt(2.0, 2.8).lens.shading.a1));
}

TEST_CASE("An f-number serves where a table's T-stop is not known, with a word", "[lens_data]") {
    io::PlateFile file = plate(2.0, std::nullopt);
    file.f_stop = 4.0;
    const PlateSet set = describe(file, wholeTable());
    CHECK(set.plates[0].lens.shading.a1 == Approx(measuredAt(2.0, 4.0).lens.shading.a1));
    CHECK_FALSE(set.plates[0].lens.t_stop);
    REQUIRE(set.warnings.size() == 1);
    CHECK_THAT(set.warnings[0], Contains("f-number"));
}

TEST_CASE("A table measured on another sensor serves its middle, with a word", "[lens_data]") {
    io::PlateFile file = plate(2.0, 4.0);
    file.sensor_width_mm = 24;
    const PlateSet set = describe(file, wholeTable());
    CHECK(set.plates[0].sensor.width_mm == 24);
    CHECK(set.plates[0].lens.focal_mm == Approx(measuredAt(2.0, 4.0).lens.focal_mm));
    REQUIRE(set.warnings.size() == 1);
    CHECK_THAT(set.warnings[0], Contains("24 mm wide, not the 36 mm"));
}

TEST_CASE("A picture that stands upright is seen through the table's lens turned", "[lens_data]") {
    io::PlateFile file = plate(2.0, 4.0);
    std::swap(file.width, file.height);
    const PlateSet set = describe(file, wholeTable());
    CHECK(set.plates[0].sensor.width_mm == Approx(20.25));
    CHECK(set.plates[0].sensor.height_mm == Approx(36));
    CHECK(std::abs(set.plates[0].lens.projection_offset_mm.x()) == Approx(0.11));
}

TEST_CASE("Focus may be set right by a whole step everywhere within the table", "[lens_data]") {
    const auto step = [](double focus_m) {
        const Plate found = describe(plate(focus_m, 4.0), wholeTable()).plates[0];
        REQUIRE(found.refocused);
        return 1 / *found.refocused->focus_m - 1 / *found.lens.focus_m;
    };
    for (const double focus_m : {1.2, 2.0, 3.0, 5.0})
        CHECK(step(focus_m) == Approx(Plate::kRefocused / focus_m));
    // Nearer than this nothing was measured: the other way.
    for (const double focus_m : {1.0, 1.02})
        CHECK(step(focus_m) == Approx(-Plate::kRefocused / focus_m));
    // Read beside the table: its end may be set right inwards.
    const Plate beside = describe(plate(0.9, 4.0), wholeTable()).plates[0];
    REQUIRE(beside.refocused);
    CHECK(*beside.refocused->focus_m == Approx(1 / (1 - Plate::kRefocused)));

    calib::LensTable one = wholeTable();
    one.measured.resize(2);  // one focus
    CHECK_FALSE(describe(plate(1.0, 4.0), one).plates[0].refocused);
}

TEST_CASE("A refocused lens is turned with its upright picture", "[lens_data]") {
    io::PlateFile file = plate(2.0, 4.0);
    std::swap(file.width, file.height);
    const Plate found = describe(file, wholeTable()).plates[0];
    REQUIRE(found.refocused);
    CHECK((found.refocused->projection_offset_mm - found.lens.projection_offset_mm).norm() < 1e-9);
}

TEST_CASE("How well a table knows its axis comes with every plate's lens", "[lens_data]") {
    calib::LensTable table = wholeTable();
    CHECK(describe(plate(2.0, 4.0), table).plates[0].geometry_sigma.axis_mm == 0);
    for (auto& at : table.measured) at.geometry_sigma = {0.0004, 1e-6};
    table.measured.back().geometry_sigma.axis_mm = 0.0007;
    const Plate found = describe(plate(2.0, 4.0), table).plates[0];
    CHECK(found.geometry_sigma.axis_mm == 0.0007);
    CHECK(found.geometry_sigma.tangential_per_mm == 1e-6);
}

TEST_CASE("Plates at several settings of one table share one lens group", "[lens_data]") {
    const TableInUse in_use = inUse(wholeTable());
    io::PlateFile near = plate(1.0, 2.8), far = plate(5.0, 4.0);
    far.path = "plate.1002.exr";
    const PlateSet set = describePlates({near, far}, {}, nullptr, {}, &in_use);
    CHECK(set.plates[0].lens_group == set.plates[1].lens_group);
}
