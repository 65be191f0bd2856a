// calibrate chart: what it says to pictures that can't tell a lens, and that nothing is written
// then.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

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
    CHECK(made.err.find("no checkerboard of 9x6 inner corners") != std::string::npos);
    CHECK(made.err.find("--squares") != std::string::npos);
    CHECK(!std::filesystem::exists(folder / "lens.json"));
}

TEST_CASE("a board of another size than said", "[calibrate]") {
    const Folder folder;
    const auto made = run("calibrate chart " + chessboards(1, 3) + kSensor +
                          "--board checker --squares 8x5 -o " + quoted(folder / "lens.json"));
    CHECK(made.status == 3);
    CHECK(made.err.find("8x5") != std::string::npos);
}

TEST_CASE("one picture, and a sensor that nobody names", "[calibrate]") {
    const Folder folder;
    const std::string rest = "--board checker --squares 9x6 -o " + quoted(folder / "lens.json");
    const auto one = run("calibrate chart " + chessboards(1, 1) + kSensor + rest);
    CHECK(one.status == 3);
    CHECK(one.err.find("1 of 1 picture") != std::string::npos);
    const auto unnamed = run("calibrate chart " + chessboards(1, 3) + rest);
    CHECK(unnamed.status == 3);
    CHECK(unnamed.err.find("--sensor 36x20.25") != std::string::npos);
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
    CHECK(made.err.find("angle") != std::string::npos);
    CHECK(made.err.find("tilted") != std::string::npos);
}

TEST_CASE("pictures of unlike size", "[calibrate]") {
    const Folder folder;
    write(folder / "a.exr", chart(640, 360, 10, 0, 1));
    write(folder / "b.exr", chart(320, 180, 10, 0, 1));
    const auto made = run("calibrate chart " + quoted(folder.path()) +
                          " --squares 11x7 --sensor 36x20.25 -o " + quoted(folder / "lens.json"));
    CHECK(made.status == 3);
    CHECK(made.err.find("b.exr: is 320x180, but a.exr is 640x360") != std::string::npos);
}

TEST_CASE("a folder that is not there, and sizes that are none", "[calibrate]") {
    const Folder folder;
    const std::string pictures = "calibrate chart " + chessboards(1, 3) + kSensor;
    const auto nowhere =
        run(pictures + "--squares 9x6 -o " + quoted(folder / "missing" / "lens.json"));
    CHECK(nowhere.status == 4);
    CHECK(run(pictures + "--squares nine -o " + quoted(folder / "lens.json")).status == 3);
    CHECK(run(pictures + "--squares 9x6 --board tartan -o lens.json").status == 2);
}

TEST_CASE("chessboards to a table: one setting, its support told, status 1 for far corners",
          "[calibrate]") {
    const Folder folder;
    const auto made = run("--json calibrate chart " + chessboards(1, 8) + kSensor +
                          "--squares 9x6 --focus 0.6 -o " + quoted(folder / "lens.json"));
    INFO(made.err);
    CHECK(made.status == 1);
    CHECK(made.err.find("way to the frame's corners") != std::string::npos);
    CHECK(made.err.find("taken as a checkerboard") != std::string::npos);
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
