// The latlong EXR, looked at byte by byte: what is in the header is what OpenEXR's own definitions
// say, whatever the library that wrote it calls it.
//
// Sources: "OpenEXR File Layout" (openexr.com: magic number, version flags, attributes as name,
// type, size, value); ImfEnvmap.h (ENVMAP_LATLONG = 0); ImfTileDescription.h (level mode ONE_LEVEL
// = 0); ImfLineOrder.h (RANDOM_Y = 2); ImfCompression.h (ZIP_COMPRESSION = 3).
#include <catch2/catch.hpp>
#include <cstdint>
#include <cstring>
#include <map>
#include <string>

#include "io/panorama_file.h"
#include "tests/program.h"

using namespace plateloom::io;
using plateloom::test::Folder;

namespace {

struct Attribute {
    std::string type, value;
};

int32_t intAt(const std::string& bytes, size_t at) {
    int32_t value = 0;
    std::memcpy(&value, bytes.data() + at, sizeof value);
    return value;
}

std::map<std::string, Attribute> headerOf(const std::string& file) {
    std::map<std::string, Attribute> found;
    size_t at = 8;
    const auto text = [&] {
        const std::string value = file.c_str() + at;
        at += value.size() + 1;
        return value;
    };
    while (file.at(at) != '\0') {
        const std::string name = text(), type = text();
        const auto size = size_t(intAt(file, at));
        found[name] = {type, file.substr(at + 4, size)};
        at += 4 + size;
    }
    return found;
}

}  // namespace

TEST_CASE("A panorama's EXR header says latlong, one level of tiles, in any order", "[external]") {
    const Folder folder;
    PictureTags tags;
    tags.latlong = true;
    tags.timecode_word = 0x01020304u;
    tags.timecode_user = 5;
    tags.frame_rate = FrameRate{24000, 1001};
    tags.chromaticities =
        std::vector<float>{0.64f, 0.33f, 0.3f, 0.6f, 0.15f, 0.06f, 0.3127f, 0.329f};
    PanoramaWriter writer(folder / "pano.exr", {300, 150, 64, true, true}, tags);
    writer.write(0, 0, Picture(300, 150, 4, 0.5f));
    writer.finish();

    const std::string file = plateloom::test::contents(folder / "pano.exr");
    CHECK(intAt(file, 0) == 20000630);
    CHECK((intAt(file, 4) & 0xff) == 2);
    CHECK((intAt(file, 4) & 0x200) != 0);  // single part, tiled
    auto header = headerOf(file);
    CHECK(header["envmap"].type == "envmap");
    CHECK(header["envmap"].value == std::string(1, '\0'));
    CHECK(header["compression"].value == "\x03");
    CHECK(header["lineOrder"].value == "\x02");
    REQUIRE(header["tiles"].value.size() == 9);
    CHECK(intAt(header["tiles"].value, 0) == 64);
    CHECK(intAt(header["tiles"].value, 4) == 64);
    CHECK((header["tiles"].value[8] & 0x0f) == 0);
    CHECK(header["timeCode"].type == "timecode");
    CHECK(intAt(header["timeCode"].value, 0) == 0x01020304);
    CHECK(intAt(header["timeCode"].value, 4) == 5);
    CHECK(header["framesPerSecond"].type == "rational");
    CHECK(intAt(header["framesPerSecond"].value, 0) == 24000);
    CHECK(intAt(header["framesPerSecond"].value, 4) == 1001);
    CHECK(header["chromaticities"].type == "chromaticities");
    CHECK(header["chromaticities"].value.size() == 32);
    CHECK(intAt(header["dataWindow"].value, 8) == 299);
    CHECK(intAt(header["displayWindow"].value, 12) == 149);

    tags.latlong = false;
    PanoramaWriter cylinder(folder / "cylinder.exr", {64, 64, 64, true, true}, tags);
    cylinder.write(0, 0, Picture(64, 64, 4, 0.5f));
    cylinder.finish();
    CHECK(headerOf(plateloom::test::contents(folder / "cylinder.exr")).count("envmap") == 0);
}

TEST_CASE("A latlong picture written whole carries the same attribute", "[external]") {
    const Folder folder;
    PictureTags tags;
    tags.latlong = true;
    writePicture(folder / "small.exr", Picture(64, 32, 3, 0.5f), tags, true, {});
    auto header = headerOf(plateloom::test::contents(folder / "small.exr"));
    CHECK(header["envmap"].type == "envmap");
    CHECK(header["envmap"].value == std::string(1, '\0'));
}
