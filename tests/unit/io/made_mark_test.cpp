#include "io/made_mark.h"

#include <catch2/catch.hpp>
#include <fstream>

#include "io/made_picture.h"
#include "io/new_file.h"
#include "io/panorama_file.h"
#include "io/plate_file.h"
#include "io/shake_track.h"
#include "io/solve_file.h"
#include "tests/program.h"

using namespace plateloom::io;
using plateloom::test::contents;
using plateloom::test::Folder;
using plateloom::test::put;
namespace fs = std::filesystem;

namespace {

Picture ramp(int width, int height, int channels) {
    Picture picture(width, height, channels);
    for (size_t i = 0; i < picture.data.size(); ++i) picture.data[i] = float(i % 251) / 251;
    return picture;
}

// Another byte in the middle of the file.
void change(const fs::path& path) {
    std::string bytes = contents(path);
    bytes[bytes.size() / 2] = char(bytes[bytes.size() / 2] ^ 1);
    put(path, bytes);
}

}  // namespace

TEST_CASE("A marked picture is known in every format until a byte of it changes", "[made]") {
    const Folder folder;
    for (const char* name : {"a.exr", "a.tif", "a.png", "a.jpg"}) {
        INFO(name);
        const auto path = folder / name;
        writeMade(path, ramp(300, 200, 3), {}, true, {0, 0, 300, 200}, Made::preview);
        CHECK(standingOf(path, Made::preview) == Standing::ours);
        CHECK(standingOf(path, Made::sheet) == Standing::foreign);
        CHECK(readPlateHeader(path).width == 300);
        CHECK_NOTHROW(readPlatePixels(readPlateHeader(path)));  // a PNG's checksums are right
        change(path);
        CHECK(standingOf(path, Made::preview) == Standing::changed);
        writePicture(path, ramp(300, 200, 3), {}, true, {0, 0, 300, 200});
        CHECK(standingOf(path, Made::preview) == Standing::foreign);
    }
    CHECK(standingOf(folder / "missing.exr", Made::view) == Standing::absent);
    CHECK(standingOf(folder.path(), Made::view) == Standing::foreign);
}

TEST_CASE("A panorama of many blocks is known by its last byte", "[made]") {
    const Folder folder;
    const auto path = folder / "pano.exr";
    {
        PanoramaWriter writer(path, {1024, 512, 256, false, true}, {});
        for (int y = 0; y < 512; y += 256)
            for (int x = 0; x < 1024; x += 256) {
                Picture tile = ramp(256, 256, 4);
                for (size_t i = 0; i < tile.data.size(); ++i)  // does not compress
                    tile.data[i] = float(i * 2654435761u % 1000003u) / 7;
                writer.write(x, y, tile);
            }
        writer.finish();
    }
    REQUIRE(fs::file_size(path) > 3 << 20);
    CHECK(standingOf(path, Made::panorama) == Standing::ours);
    std::string bytes = contents(path);
    bytes.back() = char(bytes.back() ^ 1);
    put(path, bytes);
    CHECK(standingOf(path, Made::panorama) == Standing::changed);
}

TEST_CASE("A mark is found and left out of the digest across a block's border", "[made]") {
    const Folder folder;
    constexpr size_t kBlock = size_t(1) << 20;
    for (const size_t before : {kBlock - 30, kBlock - 8, kBlock - 1, kBlock, 2 * kBlock - 16}) {
        INFO(before);
        const auto path = folder / "text";
        writeText(path, std::string(before, 'x') + openMark(Made::plan) + std::string(99, 'y'));
        CHECK(standingOf(path, Made::plan) == Standing::ours);
        change(path);
        CHECK(standingOf(path, Made::plan) == Standing::changed);
    }
}

TEST_CASE("An edit of a solve file or a shake track is seen", "[made]") {
    const Folder folder;
    SolvedPlate plate;
    plate.file = "plate.1001.exr";
    writeSolve(folder / "solve.jsonl", {plate, plate});
    CHECK(standingOf(folder / "solve.jsonl", Made::solve) == Standing::ours);
    std::string text = contents(folder / "solve.jsonl");
    const size_t gain = text.find("\"gain\":[1.0");
    REQUIRE(gain != std::string::npos);
    text[gain + 8] = '2';
    put(folder / "solve.jsonl", text);
    CHECK(standingOf(folder / "solve.jsonl", Made::solve) == Standing::changed);

    writeShakeTrack(folder / "shake.jsonl", {{1001, {}, {}, ""}, {1002, {}, {}, ""}}, {});
    CHECK(standingOf(folder / "shake.jsonl", Made::shake) == Standing::ours);
    put(folder / "shake.jsonl", contents(folder / "shake.jsonl") + "\n");
    CHECK(standingOf(folder / "shake.jsonl", Made::shake) == Standing::changed);
}
