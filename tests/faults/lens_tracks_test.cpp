// Lens tracks, camera reports and solves with faults: each is refused in words that name file, line
// and field, and say what to do.
#include <catch2/catch.hpp>

#include "io/input_error.h"
#include "io/lens_track.h"
#include "io/plate_file.h"
#include "io/solve_file.h"
#include "stitch/plates/plate_set.h"
#include "tests/program.h"

using namespace plateloom;
using Catch::Matchers::Contains;

namespace {

std::string complaintOf(const std::string& name, const std::string& text) {
    const test::Folder folder;
    test::put(folder / name, text);
    try {
        (void)io::readLensTrack(folder / name);
    } catch (const io::InputError& error) {
        const std::string what = error.what();
        CHECK_THAT(what, Contains(name));
        CHECK_THAT(what, !Contains("exception"));  // no library's inner words
        CHECK(what.find('\n') == std::string::npos);
        return what.substr(what.find(name));
    }
    return "accepted";
}

std::string lensOf(const std::string& fields) {
    return "{\"lens\": {\"pinholeFocalLength\": 24, " + fields + "}}";
}

}  // namespace

TEST_CASE("A field that is not what it should be is named, with its line and sample") {
    const std::string good = R"({"lens": {"pinholeFocalLength": 24}})";
    CHECK_THAT(complaintOf("t.jsonl", good + "\n{\"lens\": {\"pinholeFocalLength\": \"24\"}}"),
               Contains("t.jsonl:2 (sample 2): lens.pinholeFocalLength: is not a number"));
    CHECK_THAT(complaintOf("t.jsonl", good + "\n\n{\"lens\": {\"pinholeFocalLength\": null}}"),
               Contains("t.jsonl:3 (sample 2)") && Contains("null"));
    CHECK_THAT(
        complaintOf("t.json", "[\n" + good + ",\n{\"lens\":\n {\"pinholeFocalLength\": -24}}]"),
        Contains("t.json:4 (sample 2)") && Contains("not above 0"));
    CHECK_THAT(complaintOf("t.json", "{\"lens\": {\"pinholeFocalLength\": 0}}"),
               Contains("not above 0"));
    CHECK_THAT(complaintOf("t.json", lensOf("\"distortion\": [{\"radial\": [1e-4, \"x\"]}]")),
               Contains("lens.distortion[0].radial"));
    CHECK_THAT(complaintOf("t.json", lensOf("\"distortion\": [{\"tangential\": [1e-4]}]")),
               Contains("radial") && Contains("missing"));
    CHECK_THAT(complaintOf("t.json", lensOf("\"distortion\": [{\"radial\": [1,2,3,4,5,6,7]}]")),
               Contains("7 terms"));
    CHECK_THAT(complaintOf("t.json", lensOf("\"exposureFalloff\": {\"a1\": true}")),
               Contains("lens.exposureFalloff.a1"));
    CHECK_THAT(complaintOf("t.json", lensOf("\"distortionOffset\": [1, 2]")),
               Contains("lens.distortionOffset") && Contains("not an object"));
    CHECK_THAT(complaintOf("t.json", lensOf("\"focusDistance\": -2")), Contains("focusDistance"));
    CHECK_THAT(complaintOf("t.json", R"({"timing": {"timecode": {"hours": 1, "minutes": 61,
                                     "seconds": 0, "frames": 0}}})"),
               Contains("timing.timecode.minutes"));
    CHECK_THAT(complaintOf("t.json", R"({"timing": {"timecode": {"hours": 1, "minutes": 1,
        "seconds": 0, "frames": 25, "frameRate": {"num": 25, "denom": 1}}}})"),
               Contains("25 does not exist at 25 frames a second"));
    CHECK_THAT(complaintOf("t.json", R"({"timing": {"sampleRate": {"num": 24, "denom": 0}}})"),
               Contains("timing.sampleRate.denom"));
    CHECK_THAT(complaintOf("t.json", R"({"static": {"camera": {"activeSensorPhysicalDimensions":
        {"width": 36000, "height": 24000}}}})"),
               Contains("millimetres"));
    CHECK_THAT(complaintOf("t.json", R"({"transforms": [{"rotation": {"pan": "left"}}]})"),
               Contains("transforms[0].rotation.pan"));
}

TEST_CASE("An unknown distortion model is refused by its name, unless a known one stands beside") {
    CHECK_THAT(complaintOf("t.json", lensOf("\"distortion\": [{\"model\": \"Anamorphic Four\", "
                                            "\"radial\": [1]}]")),
               Contains("Anamorphic Four") && Contains("D-U"));
    CHECK(complaintOf("t.json", lensOf("\"distortion\": [{\"model\": \"Anamorphic Four\", "
                                       "\"radial\": [1]}, {\"radial\": [1e-4]}]")) == "accepted");
    CHECK_THAT(complaintOf("t.csv", "focal_mm,k1,model\n24,1e-4,spline\n"),
               Contains("t.csv:2: column model") && Contains("spline"));
}

TEST_CASE("JSON that does not parse is shown where it breaks") {
    CHECK_THAT(complaintOf("t.jsonl", "{\"lens\": {}}\n{\"lens\": {\"pinholeFocalLength\": NaN}}"),
               Contains("t.jsonl:2") && Contains("NaN and infinity are not numbers"));
    CHECK_THAT(complaintOf("t.json", "{\"lens\": {\"pinholeFocalLength\": -Infinity}}"),
               Contains("infinity are not numbers"));
    CHECK_THAT(complaintOf("t.json", "{\"lens\": {\"pinholeFocalLength\": 1e999}}"),
               Contains("too large"));
    CHECK_THAT(complaintOf("t.json", "[{\"lens\": {}},\n{\"lens\": {}}"), Contains("not closed"));
    CHECK_THAT(complaintOf("t.json", "[{\"lens\": {}},\n\n{\"lens\": {\"fStop\": 2"),
               Contains("t.json:3") && Contains("not closed"));
    CHECK_THAT(complaintOf("t.json", "[{\"lens\": {}} {\"lens\": {}}]"), Contains("comma"));
    CHECK_THAT(complaintOf("t.json", "{\"lens\": {}}\nhello"),
               Contains("t.json:2") && Contains("hello"));
    CHECK_THAT(complaintOf("t.json", "[1, 2]"), Contains("a sample is expected"));
    CHECK_THAT(complaintOf("t.json", "focal_mm\n24\n"), Contains("a sample is expected"));
    CHECK_THAT(complaintOf("t.json", "{\"frames\": [1, 2]}"), Contains("OpenTrackIO"));
    CHECK_THAT(complaintOf("t.json", "[]"), Contains("no lens samples"));
}

TEST_CASE("A file that holds nothing, or is none, is said to be so") {
    CHECK_THAT(complaintOf("t.json", ""), Contains("empty"));
    CHECK_THAT(complaintOf("t.csv", " \n\n"), Contains("empty"));
    CHECK_THAT(complaintOf("t.csv", "focal_mm,k1\n"), Contains("no lens samples"));
    const test::Folder folder;
    CHECK_THROWS_WITH(io::readLensTrack(folder / "absent.json"), Contains("absent.json"));
    CHECK_THROWS_WITH(io::readLensTrack(folder.path()), Contains("folder"));
}

TEST_CASE("A CSV's faults name line and column") {
    CHECK_THAT(complaintOf("t.csv", "focal_mm,k1\n24,1e-4\n24,abc\n"),
               Contains("t.csv:3: column k1") && Contains("abc"));
    CHECK_THAT(complaintOf("t.csv", "focal_mm\nNaN\n"), Contains("not a finite number"));
    CHECK_THAT(complaintOf("t.csv", "focal_mm\n-24\n"), Contains("not above 0"));
    CHECK_THAT(complaintOf("t.csv", "focal_mm,timecode\n24,01:02:03\n"), Contains("timecode"));
    CHECK_THAT(complaintOf("t.csv", "focal_mm,timecode,fps\n24,01:02:03:24,24\n"),
               Contains("does not exist"));
    CHECK_THAT(complaintOf("t.csv", "focal_mm,fps\n24,0\n"), Contains("frame rate"));
    CHECK_THAT(complaintOf("t.csv", "focus_m,focus_ft\n1,2\n"), Contains("two columns"));
    CHECK_THAT(complaintOf("t.csv", "name,colour\na,b\n"), Contains("no column"));
    CHECK_THAT(complaintOf("t.csv", "24,1e-4\n25,1e-4\n"), Contains("no column"));
}

TEST_CASE("A camera report without a file column, or with a wrong cell, is refused") {
    const test::Folder folder;
    const auto complaint = [&](const std::string& text) -> std::string {
        test::put(folder / "r.csv", text);
        try {
            (void)io::readCameraReport(folder / "r.csv");
        } catch (const io::InputError& error) {
            return error.what();
        }
        return "accepted";
    };
    CHECK_THAT(complaint("pan_deg\n1\n"), Contains("column named file"));
    CHECK_THAT(complaint("file,pan_deg\na.exr,left\n"), Contains("r.csv:2: column pan_deg"));
    CHECK_THAT(complaint("file,t_stop\n,2.8\n"), Contains("r.csv:2") && Contains("empty"));
    CHECK_THAT(complaint("file,iso\na.exr,-800\n"), Contains("not above 0"));
    CHECK_THAT(complaint("file\n"), Contains("no lines"));
}

TEST_CASE("A solve that a person broke is refused with line and field") {
    const test::Folder folder;
    const std::string head = R"({"custom": {"plateloom": {"file": "a.exr")";
    const auto complaint = [&](const std::string& text) -> std::string {
        test::put(folder / "s.jsonl", text);
        try {
            (void)io::readSolve(folder / "s.jsonl");
        } catch (const io::InputError& error) {
            return error.what();
        }
        return "accepted";
    };
    const std::string unplaced = head + R"(, "placed": false}}, "lens": {}})";
    CHECK(complaint(unplaced) == "accepted");
    CHECK_THAT(complaint(unplaced + "\n" + unplaced), Contains("s.jsonl:2") && Contains("earlier"));
    CHECK_THAT(complaint("{\"lens\": {}}"), Contains("custom.plateloom.file"));
    CHECK_THAT(complaint(head + R"(, "placed": true}}, "lens": {}})"), Contains("transforms"));
    CHECK_THAT(complaint(head + R"(, "gain": [1, 1]}}, "lens": {}})"),
               Contains("custom.plateloom.gain"));
    CHECK_THAT(complaint(head + R"(, "gain": [1, 0, 1]}}, "lens": {}})"), Contains("not above 0"));
    CHECK_THAT(complaint(head + R"(}}, "transforms": [{"rotation": {"pan": 1}}], "lens": {}})"),
               Contains("lens.pinholeFocalLength"));
}

TEST_CASE("A lens that can't be used over its plate is refused with its place in the track") {
    const test::Folder folder;
    stitch::PlateArguments arguments;
    for (const char* name : {"a.exr", "b.exr"}) {
        io::Picture picture(96, 64, 3, 0.18f);
        *picture.at(name[0] == 'a' ? 3 : 4, 5) = 2.0f;
        io::writePicture(folder / name, picture, {}, true, {0, 0, 96, 64});
        arguments.plates.push_back((folder / name).string());
    }
    arguments.lens_tracks = {folder / "track.csv"};
    const auto complaint = [&](const std::string& track) -> std::string {
        test::put(folder / "track.csv", track);
        try {
            (void)stitch::gatherPlates(arguments);
        } catch (const io::InputError& error) {
            return error.what();
        }
        return "accepted";
    };
    CHECK(complaint("focal_mm,sensor_width_mm,k1\n24,36,1e-5\n24,36,1e-5\n") == "accepted");
    CHECK_THAT(complaint("focal_mm,sensor_width_mm,k1\n24,36,1e-5\n24,36,-2e-3\n"),
               Contains("track.csv:3 (sample 2)") && Contains("b.exr") && Contains("folds"));
    CHECK_THAT(complaint("focal_mm,sensor_width_mm,a1\n24,36,4e-3\n24,36,4e-3\n"),
               Contains("track.csv:2 (sample 1)") && Contains("falloff"));
    CHECK_THAT(complaint("focal_mm,sensor_width_mm,pan_deg,tilt_deg\n24,36,0,0\n"),
               Contains("1 lens sample for 2 plates"));
    CHECK_THAT(complaint("focal_mm\n24\n25\n26\n"), Contains("3 lens samples for 2 plates"));
}

TEST_CASE("A plate given twice, by name or as a copy, is used once and said so") {
    const test::Folder folder;
    io::Picture picture(96, 64, 3, 0.18f);
    io::writePicture(folder / "a.exr", picture, {}, true, {0, 0, 96, 64});
    std::filesystem::copy_file(folder / "a.exr", folder / "copy of a.exr");
    *picture.at(5, 5) = 1.0f;
    io::writePicture(folder / "b.exr", picture, {}, true, {0, 0, 96, 64});
    stitch::PlateArguments arguments;
    for (const char* name : {"a.exr", "b.exr", "a.exr", "copy of a.exr"})
        arguments.plates.push_back((folder / name).string());
    arguments.focal_mm = 24;
    arguments.sensor_width_mm = 36;
    const auto set = stitch::gatherPlates(arguments);
    CHECK(set.plates.size() == 2);
    REQUIRE(set.warnings.size() == 2);
    CHECK_THAT(set.warnings[0], Contains("a.exr: given twice"));
    CHECK_THAT(set.warnings[1], Contains("copy of a.exr: the same picture"));
}
TEST_CASE("The program says one line and ends with status 3 for a track that can't be used") {
    const test::Folder folder;
    for (const char* name : {"a.exr", "b.exr"}) {
        io::Picture picture(96, 64, 3, 0.18f);
        *picture.at(name[0] == 'a' ? 3 : 4, 5) = 2.0f;
        io::writePicture(folder / name, picture, {}, true, {0, 0, 96, 64});
    }
    const std::string plates =
        test::quoted(folder / "a.exr") + " " + test::quoted(folder / "b.exr");
    const auto flatten = [&](const std::string& track) {
        test::put(folder / "track.csv", track);
        return test::run("flatten " + plates + " --lens " + test::quoted(folder / "track.csv") +
                         " -o " + test::quoted(folder / "flat"));
    };
    struct Case {
        const char *track, *says;
    };
    for (const Case& c :
         {Case{"focal_mm,sensor_width_mm\n24,36\nx,36\n", "track.csv:3: column focal_mm"},
          Case{"focal_mm,sensor_width_mm,k1\n24,36,-2e-3\n24,36,-2e-3\n", "folds"},
          Case{"focal_mm,sensor_width_mm,a1\n24,36,4e-3\n24,36,4e-3\n", "falloff"},
          Case{"focal_mm,sensor_width_mm,pan_deg,tilt_deg\n24,36,0,0\n", "1 lens sample"},
          Case{"focal_mm,sensor_width_mm\n24,36\n25,36\n26,36\n", "3 lens samples"}}) {
        INFO(c.track);
        const auto run = flatten(c.track);
        CHECK(run.status == 3);
        CHECK_THAT(run.err, Contains(c.says) && Contains("track.csv"));
        CHECK(std::count(run.err.begin(), run.err.end(), '\n') <= 2);
        CHECK(run.out.empty());
    }
    CHECK(flatten("focal_mm,sensor_width_mm,k1\n24,36,1e-5\n24,36,1e-5\n").status == 0);
}
