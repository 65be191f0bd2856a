// Views that can't be made, or not wholly: a clear line, the right exit status, nothing lost.
#include <sys/mount.h>

#include <OpenImageIO/imageio.h>
#include <catch2/catch.hpp>
#include <fstream>
#include <nlohmann/json.hpp>

#include "tests/painted_panorama.h"
#include "tests/program.h"

using namespace plateloom;
using test::Folder;
using test::put;
using test::quoted;
using test::run;
namespace fs = std::filesystem;

namespace {

bool says(const std::string& text, const std::string& what) {
    return text.find(what) != std::string::npos;
}

// A small latlong panorama, made once; read only.
const fs::path& world() {
    static const Folder folder;
    static const fs::path path = folder / "the world.exr";
    if (!fs::exists(path)) {
        stitch::PanoramaGrid grid;
        grid.width = 512;
        grid.height = 256;
        painted::writePanorama(path, grid, {}, painted::WaveWorld(12 / grid.pixelsPerRadian()));
    }
    return path;
}

const char* const kHeader =
    "frame,timecode,fps,pan_deg,tilt_deg,roll_deg,focal_mm,sensor_width_mm,k1,a1\n";

std::string line(int frame, double pan_deg, const std::string& focal = "28") {
    char text[200];
    std::snprintf(text, sizeof text, "%d,01:00:00:%02d,24,%.3f,3,0,%s,36,1e-4,3e-4\n", frame,
                  frame % 24, pan_deg, focal.c_str());
    return text;
}

// Frames 1001 to `last`.
fs::path track(const Folder& folder, int last) {
    std::string text = kHeader;
    for (int frame = 1001; frame <= last; ++frame) text += line(frame, frame - 1000);
    put(folder / "shot.csv", text);
    return folder / "shot.csv";
}

std::string view(const fs::path& panorama, const fs::path& camera, const std::string& rest) {
    return "view " + quoted(panorama) + " --camera " + quoted(camera) + " --size 64x36 " + rest;
}

}  // namespace

TEST_CASE("A lens track without poses is no shot camera, and the line says so", "[view]") {
    const Folder folder;
    put(folder / "lens.csv", "frame,focal_mm,sensor_width_mm\n1,28,36\n2,28,36\n");
    const auto result =
        run(view(world(), folder / "lens.csv", "-o " + quoted(folder / "bg.####.exr")));
    CHECK(result.status == 3);
    CHECK(says(result.err, "lens.csv"));
    CHECK(says(result.err, "pan, tilt, roll"));
}

TEST_CASE("Frames without a sample are named, the others are made, status 1", "[view]") {
    const Folder folder;
    put(folder / "shot.csv", kHeader + line(1001, 1) + line(1002, 2) + line(1005, 5));
    const auto result = run(view(world(), folder / "shot.csv",
                                 "--frames 1001-1006 --json -o " + quoted(folder / "bg.####.exr")));
    CHECK(result.status == 1);
    for (const char* frame : {"1003", "1004", "1006"}) CHECK(says(result.err, frame));
    CHECK(fs::exists(folder / "bg.1002.exr"));
    CHECK(fs::exists(folder / "bg.1005.exr"));
    CHECK_FALSE(fs::exists(folder / "bg.1003.exr"));
    const auto json = nlohmann::json::parse(result.out);
    CHECK(json["missing"].size() == 3);
    CHECK(json["frames"].size() == 3);
    CHECK(json["status"] == 1);
    // None of the frames wanted: that is another track.
    const auto none = run(view(world(), folder / "shot.csv",
                               "--frames 2001-2006 -o " + quoted(folder / "bg.####.exr")));
    CHECK(none.status == 3);
    CHECK(says(none.err, "1001 to 1005"));
}

TEST_CASE("A focal length of zero and an absurd size are refused", "[view]") {
    const Folder folder;
    put(folder / "shot.csv", kHeader + line(1001, 1, "0"));
    const std::string out = " -o " + quoted(folder / "bg.####.exr");
    const auto zero = run(view(world(), folder / "shot.csv", out));
    CHECK(zero.status == 3);
    CHECK(says(zero.err, "focal"));
    put(folder / "shot.csv", std::string(kHeader) + "1001,01:00:00:00,24,1,3,0,28,36,1e9,0\n");
    const auto unit = run(view(world(), folder / "shot.csv", "--look flat" + out));
    CHECK(unit.status == 3);
    CHECK(says(unit.err, "shot.csv:2"));
    CHECK(says(unit.err, "check the unit of its coefficients"));
    const auto good = track(folder, 1002);
    for (const char* size : {"0x0", "64x0", "-4x3", "100000x4", "64", "axb"}) {
        CAPTURE(size);
        const auto result =
            run("view " + quoted(world()) + " --camera " + quoted(good) + " --size " + size + out);
        CHECK((result.status == 3 || result.status == 2));
        CHECK(says(result.err, "--size"));
    }
    const auto unsaid = run("view " + quoted(world()) + " --camera " + quoted(good) + out);
    CHECK(unsaid.status == 3);
    CHECK(says(unsaid.err, "--size"));
    const auto still = run("view " + quoted(world()) + " --pose 3,0 --size 64x36 -o " +
                           quoted(folder / "still.exr"));
    CHECK(still.status == 3);
    CHECK(says(still.err, "--focal"));
}

TEST_CASE("A panorama that says nothing of its projection is asked about", "[view]") {
    const Folder folder;
    OIIO::ImageSpec spec(300, 100, 3, OIIO::TypeHalf);
    const std::vector<float> grey(300 * 100 * 3, 0.25f);
    const auto path = folder / "strip.exr";
    auto out = OIIO::ImageOutput::create("exr");
    REQUIRE(out->open(path.string(), spec));
    REQUIRE(out->write_image(OIIO::TypeFloat, grey.data()));
    REQUIRE(out->close());
    const auto camera = track(folder, 1001);
    const std::string to = " -o " + quoted(folder / "bg.####.exr");
    const auto asked = run(view(path, camera, to));
    CHECK(asked.status == 3);
    CHECK(says(asked.err, "300 x 100"));
    CHECK(says(asked.err, "--tilt"));
    // 100 rows at 300 / 2 pi pixels a radian: tan from -1.047 to 1.047.
    const auto told = run(view(path, camera, "--projection cylindrical --tilt -46.3:46.3" + to));
    CHECK(told.status == 0);
    // Looking over its edge.
    const auto over = run("view " + quoted(path) +
                          " --projection cylindrical --tilt -46.3:46.3 --pose 0,45 --focal 28"
                          " --sensor 36 --size 64x36 -o " +
                          quoted(folder / "up.exr"));
    CHECK(over.status == 1);
    CHECK(says(over.err, "does not cover"));
    const auto damaged = folder / "damaged.exr";
    put(damaged, test::contents(world()).substr(0, 40000));
    const auto broken = run(view(damaged, camera, to));
    CHECK(broken.status == 3);
    CHECK(says(broken.err, "damaged.exr"));
}

TEST_CASE("Several frames need a place for their number; views are linear light", "[view]") {
    const Folder folder;
    const auto camera = track(folder, 1002);
    const auto one = run(view(world(), camera, "-o " + quoted(folder / "bg.exr")));
    CHECK(one.status == 3);
    CHECK(says(one.err, "####"));
    const auto png = run(view(world(), camera, "-o " + quoted(folder / "bg.####.png")));
    CHECK(png.status == 3);
    CHECK(says(png.err, ".exr"));
    const auto both = run(view(world(), camera, "--pose 3,0 -o " + quoted(folder / "bg.####.exr")));
    CHECK(both.status == 2);
}

TEST_CASE("A view that was stopped and resumed is the same, bit for bit", "[view]") {
    const Folder folder;
    const auto camera = track(folder, 1004);
    const std::string whole = "-o " + quoted(folder / "whole" / "bg.####.exr");
    const std::string parts = "-o " + quoted(folder / "parts" / "bg.####.exr");
    REQUIRE(run(view(world(), camera, whole)).status == 0);
    REQUIRE(run(view(world(), camera, "--frames 1001-1002 " + parts)).status == 0);
    // One that a crash cut short, one that was made otherwise.
    const std::string first = test::contents(folder / "parts" / "bg.1001.exr");
    put(folder / "parts" / "bg.1001.exr", first.substr(0, first.size() / 2));
    REQUIRE(run(view(world(), camera, "--look flat --overscan 1 --frames 1003 " + parts)).status ==
            0);
    const auto resumed = run(view(world(), camera, "--resume --json " + parts));
    CHECK(resumed.status == 0);
    const auto frames = nlohmann::json::parse(resumed.out)["frames"];
    CHECK(frames[0]["was_there"] == false);
    CHECK(frames[1]["was_there"] == true);
    CHECK(frames[2]["was_there"] == false);
    for (const char* name : {"bg.1001.exr", "bg.1002.exr", "bg.1003.exr", "bg.1004.exr"}) {
        // The files differ in the second that they were written.
        auto a = OIIO::ImageInput::open((folder / "whole" / name).string());
        auto b = OIIO::ImageInput::open((folder / "parts" / name).string());
        REQUIRE(a);
        REQUIRE(b);
        std::vector<float> left(64 * 36 * 4), right(left.size());
        REQUIRE(a->read_image(0, 0, 0, 4, OIIO::TypeFloat, left.data()));
        REQUIRE(b->read_image(0, 0, 0, 4, OIIO::TypeFloat, right.data()));
        CHECK((left == right));
    }
}

TEST_CASE("A full disk stops the views with one line, and no half view bears a name", "[view]") {
    const Folder folder, disk;
    const auto camera = track(folder, 1006);
    if (mount("none", disk.path().c_str(), "tmpfs", 0, "size=64k") != 0) {
        WARN("no right to mount a small file system here: not tested");
        return;
    }
    const auto result = run("view " + quoted(world()) + " --camera " + quoted(camera) +
                            " --size 160x90 -o " + quoted(disk / "bg.####.exr"));
    size_t whole = 0;
    for (const auto& entry : fs::directory_iterator(disk.path())) {
        auto input = OIIO::ImageInput::open(entry.path().string());
        std::vector<float> pixels(160 * 90 * 4);
        whole += input && input->read_image(0, 0, 0, 4, OIIO::TypeFloat, pixels.data());
    }
    const auto left = std::distance(fs::directory_iterator(disk.path()), {});
    umount(disk.path().c_str());
    CHECK(result.status == 4);
    CHECK(says(result.err, "disk is full"));
    CHECK(size_t(left) == whole);
    CHECK(whole < 6);
}

TEST_CASE(
    "What a panorama holds that is not finite, or too bright for half, is told with its count") {
    const Folder folder;
    stitch::PanoramaGrid grid;
    grid.width = 512;
    grid.height = 256;
    painted::writePanorama(folder / "pano.exr", grid, {},
                           [](int x, int y, const calib::Vector3d&, float* rgba) {
                               for (int c = 0; c < 3; ++c) rgba[c] = 0.5f;
                               if (y != 128 || x % 4 != 0) return;
                               if (x == 256) rgba[0] = std::numeric_limits<float>::quiet_NaN();
                               if (x == 260) rgba[1] = std::numeric_limits<float>::infinity();
                           });
    const std::string camera = "--pose 0,0 --focal 28 --sensor 36x20.25 --size 64x36 ";
    const auto odd = run("view " + quoted(folder / "pano.exr") + " " + camera + "-o " +
                         quoted(folder / "a.exr"));
    INFO(odd.err);
    CHECK(says(odd.err, "pano.exr: 2 pixels"));
    CHECK(says(odd.err, "not finite"));

    // Float keeps what half can't hold.
    painted::writePanorama(folder / "lamp.exr", grid, {},
                           [](int x, int y, const calib::Vector3d&, float* rgba) {
                               const bool lamp = std::abs(x - 256) < 12 && std::abs(y - 128) < 12;
                               for (int c = 0; c < 3; ++c) rgba[c] = lamp ? 2e5f : 0.5f;
                           });
    const auto kept = run("view " + quoted(folder / "lamp.exr") + " " + camera + "-o " +
                          quoted(folder / "b.exr"));
    CHECK_FALSE(says(kept.err, "brighter than half"));
}
