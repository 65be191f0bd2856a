// `--lens LENS.json` where the table does not fit: told in words, with the right exit status.
#include <catch2/catch.hpp>

#include "io/lens_table_file.h"
#include "tests/painted_plates.h"
#include "tests/program.h"
#include "world/recording.h"
#include "world/shoot.h"

using namespace plateloom;
using namespace plateloom::test;
using Catch::Matchers::Contains;

namespace {

const calib::Sensor kSensor{36, 20.25, 320, 180};

calib::Lens lensAt(double focus_m, double t_stop) {
    return world::inventedLens(world::LensLook::barrel,
                               calib::DistortionDirection::recorded_to_flat, 28, focus_m, t_stop);
}

calib::MeasuredLens measuredAt(double focus_m, double t_stop) {
    calib::MeasuredLens out;
    out.setting = {focus_m, t_stop, 28.0};
    out.lens = lensAt(focus_m, t_stop);
    out.geometry = out.shading = true;
    return out;
}

// A grey plate whose header tells focus and T-stop.
void writePlate(const std::filesystem::path& path, double focus_m, double t_stop) {
    calib::Lens lens = lensAt(focus_m, t_stop);
    if (t_stop == 0) lens.t_stop.reset();
    world::writePrepExr(path, io::Picture(320, 180, 3, 0.3f), lens, 28, kSensor);
}

// Flattens plates at these settings with a table of those.
struct Flattened {
    Folder folder;
    ProgramRun ran;
};

std::string flattenWith(const Folder& folder) {
    return "flatten " + quoted(folder / "plates") + " --lens " + quoted(folder / "LENS.json") +
           " -o " + quoted(folder / "flat");
}

}  // namespace

TEST_CASE("A table of one point serves other settings with a warning", "[lens_table]") {
    const Folder folder;
    std::filesystem::create_directories(folder / "plates");
    io::addToLensTable(folder / "LENS.json", {kSensor, {measuredAt(2, 2.8)}, "Prime"});
    writePlate(folder / "plates" / "a.exr", 2, 2.8);
    writePlate(folder / "plates" / "b.exr", 5, 4);
    const ProgramRun ran = run(flattenWith(folder));
    CHECK(ran.status == 0);
    CHECK_THAT(ran.err, Contains("b.exr: the lens's geometry was measured at focus 2 m alone"));
    CHECK_THAT(ran.err, Contains("b.exr: the lens's shading was measured at iris T2.8 alone"));
    CHECK_THAT(ran.err, !Contains("a.exr: the lens"));
    CHECK(std::filesystem::exists(folder / "flat" / "b.exr"));
}

TEST_CASE("Settings outside the table are clamped with a warning", "[lens_table]") {
    const Folder folder;
    std::filesystem::create_directories(folder / "plates");
    io::addToLensTable(folder / "LENS.json", {kSensor,
                                              {measuredAt(1, 2.8), measuredAt(1, 4),
                                               measuredAt(5, 2.8), measuredAt(5, 4)},
                                              "Prime"});
    writePlate(folder / "plates" / "a.exr", 0.5, 2.8);
    const ProgramRun ran = run(flattenWith(folder));
    CHECK(ran.status == 0);
    CHECK_THAT(ran.err, Contains("focus 0.5 m lies outside the measured 1 m to 5 m"));
}

TEST_CASE("A plate without a ring that the table depends on is refused", "[lens_table]") {
    const Folder folder;
    std::filesystem::create_directories(folder / "plates");
    io::addToLensTable(folder / "LENS.json",
                       {kSensor, {measuredAt(2, 2), measuredAt(2, 5.6)}, "Prime"});
    writePlate(folder / "plates" / "a.exr", 2, 0);
    const ProgramRun ran = run(flattenWith(folder));
    CHECK(ran.status == 3);
    CHECK_THAT(ran.err,
               Contains("a.exr") && Contains("says no T-stop") && Contains("--camera-report"));
    CHECK_FALSE(std::filesystem::exists(folder / "flat" / "a.exr"));
}

TEST_CASE("A damaged table is refused with file, line and field", "[lens_table]") {
    const Folder folder;
    std::filesystem::create_directories(folder / "plates");
    writePlate(folder / "plates" / "a.exr", 2, 2.8);
    io::addToLensTable(folder / "LENS.json", {kSensor, {measuredAt(1, 4), measuredAt(2, 4)}, "P"});
    const std::string good = contents(folder / "LENS.json");
    const auto complaint = [&](const std::string& find, const std::string& put_instead) {
        std::string bad = good;
        const size_t at = bad.rfind(find);
        REQUIRE(at != std::string::npos);
        bad.replace(at, find.size(), put_instead);
        put(folder / "LENS.json", bad);
        const ProgramRun ran = run(flattenWith(folder));
        CHECK(ran.status == 3);
        CHECK_THAT(ran.err, Contains("LENS.json"));
        return ran.err;
    };
    CHECK_THAT(complaint("\"pinholeFocalLength\"", "\"focalLenght\""),
               Contains("(sample 2): lens.pinholeFocalLength"));
    CHECK_THAT(complaint("\"lensTable\"", "\"other\""),
               Contains("(sample 2)") && Contains("lensTable"));
    CHECK_THAT(complaint("\"width\": 36.0", "\"width\": 24.0"),
               Contains("(sample 2)") && Contains("24 x 20.25 mm"));
    CHECK_THAT(complaint("Brown-Conrady D-U", "Brown-Conrady U-D"), Contains("D-U and U-D"));
    CHECK_THAT(complaint("\"focusDistance\"", "\"focus\""), Contains("focus distance"));
    CHECK_THAT(complaint("\"a1\": 0", "\"a1\": 1"), Contains("falloff reaches zero"));
    put(folder / "LENS.json", good.substr(0, good.size() - 200));
    const ProgramRun cut = run(flattenWith(folder));
    CHECK(cut.status == 3);
    CHECK_THAT(cut.err, Contains("cut off"));
}

TEST_CASE("Two tables are one too many", "[lens_table]") {
    const Folder folder;
    std::filesystem::create_directories(folder / "plates");
    writePlate(folder / "plates" / "a.exr", 2, 2.8);
    io::addToLensTable(folder / "LENS.json", {kSensor, {measuredAt(2, 2.8)}, "P"});
    io::addToLensTable(folder / "OTHER.json", {kSensor, {measuredAt(2, 2.8)}, "P"});
    const ProgramRun ran = run(flattenWith(folder) + " --lens " + quoted(folder / "OTHER.json"));
    CHECK(ran.status == 3);
    CHECK_THAT(ran.err, Contains("second lens table"));
}

TEST_CASE("A check goes on without a table that asks for what nobody noted", "[lens_table]") {
    const Folder folder;
    std::filesystem::create_directories(folder / "plates");
    io::addToLensTable(folder / "LENS.json",
                       {kSensor, {measuredAt(2, 2), measuredAt(2, 5.6)}, "Prime"});
    writePlate(folder / "plates" / "a.exr", 2, 0);
    const ProgramRun ran =
        run("check " + quoted(folder / "plates") + " --lens " + quoted(folder / "LENS.json"));
    CHECK(ran.status == 1);
    CHECK_THAT(ran.err + ran.out, Contains("the lens table can't be used"));
}
