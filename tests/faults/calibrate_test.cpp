// calibrate chart: what it says to pictures that can't tell a lens, and that nothing is written
// then.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "calib/focus.h"
#include "io/lens_table_file.h"
#include "io/plate_file.h"
#include "tests/program.h"
#include "world/lens_charts.h"

using namespace plateloom;
using namespace plateloom::test;

namespace {

// Chessboard pictures of OpenCV's documentation package, 9x6 inner corners.
const std::string kLeft = "/usr/share/doc/opencv-doc/examples/data/left";
std::string chessboards(int from, int to) {
    std::string out;
    for (int i = from; i <= to; ++i)
        if (i != 10) out += kLeft + (i < 10 ? "0" : "") + std::to_string(i) + ".jpg ";
    return out;
}
const std::string kSensor = " --sensor 6.4x4.8 ";

io::Picture chart(int width, int height, double yaw_deg, double across, double distance_m) {
    const calib::Sensor sensor{36, 36.0 * height / width, width, height};
    calib::Lens lens;
    lens.focal_mm = 28;
    const calib::LensMap map(lens, sensor);
    const world::Board board{world::BoardKind::checkerboard, 12, 8, 0.05};
    world::ChartRender settings;
    settings.samples = 1;
    return world::renderChart(board,
                              world::boardPose(map, across, 0, distance_m, yaw_deg, yaw_deg / 2, 0),
                              map, settings);
}

bool says(const ProgramRun& made, const std::string& message) {
    UNSCOPED_INFO("it says: " << made.err);
    return made.err.find(message) != std::string::npos;
}

void write(const std::filesystem::path& path, const io::Picture& picture) {
    io::PictureTags tags;
    tags.colour_space = "scene_linear";
    io::writePicture(path, picture, tags, true, {0, 0, picture.width, picture.height});
}

}  // namespace

TEST_CASE("no board in any picture", "[calibrate]") {
    const Folder folder;
    for (const char* name : {"a.exr", "b.exr", "c.exr"}) {
        io::Picture grey(320, 180, 3, 0.18f);
        grey.at(5, name[0] - 'a')[0] = 0.2f;
        write(folder / name, grey);
    }
    const auto made =
        run("calibrate chart " + quoted(folder.path()) +
            " --board checker --squares 9x6 --sensor 36x20.25 -o " + quoted(folder / "lens.json"));
    CHECK(made.status == 3);
    CHECK(says(made,
               "no checkerboard of 9x6 inner corners found in any of 3 pictures; check --board "
               "and --squares\n"));
    CHECK(made.out.empty());
    CHECK(!std::filesystem::exists(folder / "lens.json"));
}

TEST_CASE("a board of another size than said", "[calibrate]") {
    const Folder folder;
    const auto made = run("calibrate chart " + chessboards(1, 3) + kSensor +
                          "--board checker --squares 8x5 -o " + quoted(folder / "lens.json"));
    CHECK(made.status == 3);
    CHECK(says(made, kLeft + "01.jpg: no checkerboard of 8x5 inner corners found in any of 3 "
                             "pictures"));
    CHECK(!std::filesystem::exists(folder / "lens.json"));
}

TEST_CASE("one picture, and a sensor that nobody names", "[calibrate]") {
    const Folder folder;
    const std::string rest = "--board checker --squares 9x6 -o " + quoted(folder / "lens.json");
    const auto one = run("calibrate chart " + chessboards(1, 1) + kSensor + rest);
    CHECK(one.status == 3);
    CHECK(says(one, kLeft + "01.jpg: 1 of 1 pictures (any setting) can be used; a lens needs 3 at "
                            "the very least"));
    const auto unnamed = run("calibrate chart " + chessboards(1, 3) + rest);
    CHECK(unnamed.status == 3);
    CHECK(says(unnamed, kLeft +
                            "01.jpg: says nothing of the sensor's size; give the active area in "
                            "mm, e.g. --sensor 36x20.25"));
    CHECK(!std::filesystem::exists(folder / "lens.json"));
}

TEST_CASE("all boards at one angle: the focal length is not made up", "[calibrate]") {
    const Folder folder;
    for (int i = 0; i < 4; ++i)
        write(folder / ("chart" + std::to_string(i) + ".exr"),
              chart(640, 360, 0, 0.1 * (i - 2), 1.0 + 0.03 * i));
    const auto made =
        run("calibrate chart " + quoted(folder.path()) +
            " --board checker --squares 11x7 --sensor 36x20.25 -o " + quoted(folder / "lens.json"));
    CHECK(made.status == 3);
    CHECK(says(made,
               "are all seen at much the same angle, so that the focal length can't be told "
               "from the distance"));
    CHECK(says(made, "shoot some with the board tilted by 30 to 45 degrees to each side"));
    CHECK(!std::filesystem::exists(folder / "lens.json"));
}

TEST_CASE("pictures of unlike size", "[calibrate]") {
    const Folder folder;
    write(folder / "a.exr", chart(640, 360, 10, 0, 1));
    write(folder / "b.exr", chart(320, 180, 10, 0, 1));
    const auto made = run("calibrate chart " + quoted(folder.path()) +
                          " --squares 11x7 --sensor 36x20.25 -o " + quoted(folder / "lens.json"));
    CHECK(made.status == 3);
    CHECK(says(made,
               "b.exr: is 320x180, but a.exr is 640x360; pictures of one lens on one sensor "
               "have one size"));
}

TEST_CASE("a folder that is not there, and sizes that are none", "[calibrate]") {
    const Folder folder;
    const std::string pictures = "calibrate chart " + chessboards(1, 3) + kSensor;
    const auto nowhere =
        run(pictures + "--squares 9x6 -o " + quoted(folder / "missing" / "lens.json"));
    CHECK(nowhere.status == 4);
    CHECK(says(nowhere, "missing: the folder does not exist: make it first, or name another"));
    const auto nine = run(pictures + "--squares nine -o " + quoted(folder / "lens.json"));
    CHECK(nine.status == 2);
    CHECK(says(nine, "--squares nine: expected columns and rows, 3x3 at least, e.g. 9x6"));
    const auto tartan = run(pictures + "--squares 9x6 --board tartan -o lens.json");
    CHECK(tartan.status == 2);
    CHECK(says(tartan, "--board: tartan not in {checker,charuco,dots}"));
}

TEST_CASE("chessboards to a table: one setting, its support told, status 1 for far corners",
          "[calibrate]") {
    const Folder folder;
    const auto made = run("--json calibrate chart " + chessboards(1, 8) + kSensor +
                          "--squares 9x6 --focus 0.6 -o " + quoted(folder / "lens.json"));
    INFO(made.err);
    CHECK(made.status == 1);
    CHECK(says(made,
               "warning: focus 0.6 m: the chart's points reach 69 % of the way to the frame's "
               "corners; beyond that the distortion is a guess"));
    CHECK(says(made, "taken as a checkerboard of 9x6 inner corners"));
    const auto json = nlohmann::json::parse(made.out);
    const auto table = io::readLensTable(folder / "lens.json");
    REQUIRE(table.measured.size() == 1);
    CHECK(table.measured[0].geometry);
    CHECK(table.measured[0].setting.focus_m == 0.6);
    CHECK(table.measured[0].lens.focal_mm == Approx(json["lenses"][0]["focal_mm"].get<double>()));
    CHECK(table.measured[0].supported_radius_mm < 4);
    // OpenCV's own figure for these pictures is 536 px (left_intrinsics.yml).
    CHECK(table.measured[0].lens.focal_mm == Approx(5.36).epsilon(0.015));
}

TEST_CASE("the word for focus at infinity is understood, other words are not", "[calibrate]") {
    const Folder folder;
    const std::string chart = "calibrate chart " + chessboards(1, 8) + kSensor + "--squares 9x6 ";
    REQUIRE(run(chart + "--focus inf -o " + quoted(folder / "lens.json")).status == 1);
    CHECK(io::readLensTable(folder / "lens.json").measured[0].setting.focus_m ==
          calib::kFocusAtInfinity_m);
    for (const char* word : {"far", "nan", "-inf", "0"})
        CHECK(run(chart + "--focus " + word + " -o " + quoted(folder / "other.json")).status == 2);
}
