// Plates as their formats define them, read. EXR files are made byte by byte (raw_exr.h), so that
// the reader is checked against the format; the others by OpenImageIO.
#include "io/plate_file.h"

#include <OpenImageIO/imageio.h>

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "io/hole.h"
#include "io/input_error.h"
#include "io/transfer_curves.h"
#include "tests/program.h"
#include "tests/unit/io/raw_exr.h"
#include "tests/unit/io/read_plate.h"

namespace fs = std::filesystem;
using namespace plateloom::io;
using namespace plateloom::raw_exr;
using plateloom::test::Folder;

namespace {

uint32_t floatBits(float value) {
    uint32_t bits = 0;
    std::memcpy(&bits, &value, sizeof bits);
    return bits;
}

/// A value that no other pixel and channel has, exact in half.
float valueAt(int x, int y, int channel) {
    const auto value = float(x + 10 + 40 * (y + 10));
    return channel == 0 ? value : channel == 1 ? -value : value / 2;
}

Channel ramp(const std::string& name, int number, SampleType type = SampleType::half) {
    return {name, type,
            [=](int x, int y) -> uint32_t {
                const float value = valueAt(x, y, number);
                if (type == SampleType::half) return halfFromFloat(value);
                return type == SampleType::real ? floatBits(value) : uint32_t(value);
            },
            1};
}

Channel flat(const std::string& name, float value) {
    return {name, SampleType::half, [=](int, int) { return uint32_t(halfFromFloat(value)); }, 1};
}

std::vector<Channel> rgb() {
    return {ramp("R", 0), ramp("G", 1), ramp("B", 2)};
}

Rgba rampAt(int x, int y) {
    return {{valueAt(x, y, 0), valueAt(x, y, 1), valueAt(x, y, 2), 1}};
}
constexpr Rgba kNothing{{0, 0, 0, 0}};

}  // namespace

TEST_CASE("The plate is the display window: data beyond it is cropped, what lacks is not covered") {
    const Folder folder;
    struct Case {
        const char* name;
        Box data, display;
    };
    for (const Case& c :
         {Case{"same", {0, 0, 9, 6}, {0, 0, 9, 6}}, Case{"overscan", {-3, -2, 12, 8}, {0, 0, 9, 6}},
          Case{"cropped", {2, 1, 7, 5}, {0, 0, 9, 6}},
          Case{"negative display", {-8, -9, -2, -3}, {-9, -8, 0, -2}},
          Case{"sideways", {5, -4, 15, 3}, {0, 0, 9, 6}},
          Case{"apart", {20, 20, 25, 25}, {0, 0, 9, 6}}}) {
        INFO(c.name);
        Part part;
        part.data = c.data;
        part.display = c.display;
        part.channels = rgb();
        write(folder / "plate.exr", {part});
        const PlatePixels pixels = readPlate(folder / "plate.exr");
        REQUIRE(pixels.width == c.display.x_max - c.display.x_min + 1);
        REQUIRE(pixels.height == c.display.y_max - c.display.y_min + 1);
        CHECK(pixels.isHalf());
        for (int y = 0; y < pixels.height; ++y) {
            for (int x = 0; x < pixels.width; ++x) {
                const int file_x = x + c.display.x_min, file_y = y + c.display.y_min;
                const bool inside = file_x >= c.data.x_min && file_x <= c.data.x_max &&
                                    file_y >= c.data.y_min && file_y <= c.data.y_max;
                INFO(x << ' ' << y);
                CHECK(at(pixels, x, y) == (inside ? rampAt(file_x, file_y) : kNothing));
            }
        }
    }
}

TEST_CASE("R, G, B and A are found by name among other channels and in other parts") {
    const Folder folder;
    const fs::path path = folder / "plate.exr";
    Part part;
    SECTION("among others that sort around them") {
        part.channels = rgb();
        for (const char* other : {"Aux", "Z", "depth.Z", "id"})
            part.channels.push_back(flat(other, 9));
        part.channels.push_back(flat("A", 1));
        part.channels.push_back(ramp("BB", 5, SampleType::real));
        write(path, {part});
    }
    SECTION("in a layer when there is no plain one") {
        part.channels = {ramp("beauty.R", 0), ramp("beauty.G", 1), ramp("beauty.B", 2),
                         flat("albedo.R", 9), flat("albedo.G", 9), flat("albedo.B", 9)};
        write(path, {part});
    }
    SECTION("plain ones before a layer's") {
        part.channels = rgb();
        for (const char* other : {"beauty.R", "beauty.G", "beauty.B"}) {
            part.channels.push_back(flat(other, 9));
        }
        write(path, {part});
    }
    SECTION("in lower case and whole words") {
        part.channels = {ramp("red", 0), ramp("green", 1), ramp("blue", 2)};
        write(path, {part});
    }
    SECTION("in the second part of a file") {
        Part depth;
        depth.name = "depth";
        depth.channels = {flat("Z", 9)};
        part.name = "picture";
        part.channels = rgb();
        write(path, {depth, part});
    }
    const PlatePixels pixels = readPlate(path);
    CHECK(at(pixels, 1, 0) == rampAt(1, 0));
    CHECK(at(pixels, 3, 2) == rampAt(3, 2));
}

TEST_CASE("Layers of which none is the picture are listed, not guessed at") {
    const Folder folder;
    Part part;
    for (const char* name : {"key.R", "key.G", "key.B", "fill.R", "fill.G", "fill.B"}) {
        part.channels.push_back(flat(name, 1));
    }
    write(folder / "plate.exr", {part});
    CHECK_THROWS_WITH(readPlateHeader(folder / "plate.exr"),
                      Catch::Contains("fill") && Catch::Contains("key"));
    part.channels = {flat("R", 1), flat("G", 1), flat("Z", 1)};
    write(folder / "plate.exr", {part});
    CHECK_THROWS_WITH(readPlateHeader(folder / "plate.exr"), Catch::Contains("R, G, B"));
}

TEST_CASE("One channel is spread over R, G and B; the next is alpha") {
    const Folder folder;
    const fs::path path = folder / "plate.exr";
    Part part;
    const float value = valueAt(2, 1, 0);
    for (const char* name : {"Y", "grey", "Z"}) {
        part.channels = {ramp(name, 0)};
        write(path, {part});
        CHECK(at(readPlate(path), 2, 1) == Rgba{{value, value, value, 1}});
    }
    part.channels = {ramp("Y", 0), flat("A", 0.5f)};
    write(path, {part});
    CHECK(at(readPlate(path), 2, 1) == Rgba{{value, value, value, 0.5f}});

    const float grey = linearFromSrgb(64 / 255.0f), half = 128 / 255.0f;
    writeWithOiio<uint8_t>(folder / "grey.png", OIIO::ImageSpec(2, 1, 1, OIIO::TypeUInt8), {64, 0});
    CHECK(at(readPlate(folder / "grey.png"), 0, 0).v[2] == Approx(grey).epsilon(0x1p-11));
    OIIO::ImageSpec with_alpha(2, 1, 2, OIIO::TypeUInt8);
    with_alpha.channelnames = {"Y", "A"};
    with_alpha.alpha_channel = 1;
    with_alpha.attribute("oiio:UnassociatedAlpha", 1);
    writeWithOiio<uint8_t>(folder / "grey.png", with_alpha, {64, 128, 64, 255});
    const Rgba associated = at(readPlate(folder / "grey.png"), 0, 0);
    CHECK(associated.v[0] == Approx(grey * half).epsilon(0x1p-10));
    CHECK(associated.v[3] == Approx(half).epsilon(0x1p-11));
}

TEST_CASE("Floats stay floats, integers of an EXR stay the numbers that they are") {
    const Folder folder;
    const fs::path path = folder / "plate.exr";
    Part part;
    part.channels = {
        ramp("R", 0, SampleType::real),
        ramp("G", 1, SampleType::real),
        {"B", SampleType::real, [](int, int) { return floatBits(1.0e6f + 0.125f); }, 1}};
    write(path, {part});
    REQUIRE(readPlateHeader(path).needs_float);
    PlatePixels pixels = readPlate(path);
    CHECK_FALSE(pixels.isHalf());
    CHECK(at(pixels, 3, 1) == Rgba{{valueAt(3, 1, 0), valueAt(3, 1, 1), 1.0e6f + 0.125f, 1}});

    part.channels = {ramp("R", 0, SampleType::uint),
                     ramp("G", 0, SampleType::uint),
                     {"B", SampleType::uint, [](int, int) { return 100000u; }, 1}};
    write(path, {part});
    pixels = readPlate(path);
    CHECK(at(pixels, 3, 1).v[0] == valueAt(3, 1, 0));
    CHECK(at(pixels, 3, 1).v[2] == 100000.0f);

    // Half colour beside a float of something else: the picture needs no float.
    part.channels = rgb();
    part.channels.push_back(ramp("Z", 0, SampleType::real));
    write(path, {part});
    CHECK_FALSE(readPlateHeader(path).needs_float);
    CHECK(at(readPlate(path), 3, 1) == rampAt(3, 1));
    // Colour of mixed precision keeps the better one.
    part.channels = {ramp("R", 0), ramp("G", 1, SampleType::real), ramp("B", 2)};
    write(path, {part});
    CHECK(readPlateHeader(path).needs_float);
    CHECK(at(readPlate(path), 3, 1) == rampAt(3, 1));
}

TEST_CASE("What is no number is a hole, what is infinite the brightest value; both are counted") {
    const Folder folder;
    const auto nanAt = [](int bad_x, uint32_t bits) {
        return [=](int x, int) { return x == bad_x ? bits : uint32_t(0x3c00); };
    };
    Part part;
    part.channels = {{"R", SampleType::half, nanAt(0, 0x7e00), 1},   // NaN
                     {"G", SampleType::half, nanAt(1, 0xfc00), 1},   // minus infinity
                     {"B", SampleType::half, nanAt(2, 0x7c00), 1}};  // infinity
    write(folder / "half.exr", {part});
    part.channels = {
        {"R", SampleType::real, [](int x, int) { return x == 0 ? 0x7fc00000u : floatBits(1); }, 1},
        {"G", SampleType::real, [](int x, int) { return x == 1 ? 0xff800000u : floatBits(1); }, 1},
        {"B", SampleType::real, [](int x, int) { return x == 2 ? 0x7f800000u : floatBits(1); }, 1}};
    write(folder / "float.exr", {part});
    for (const char* name : {"half.exr", "float.exr"}) {
        const PlatePixels pixels = readPlate(folder / name);
        CHECK(pixels.bad_pixels == 9);  // three columns of three rows
        for (int x = 0; x < 2; ++x) {
            CHECK(at(pixels, x, 1) == kNothing);
            CHECK(isHole(at(pixels, x, 1).v[3]));
        }
        CHECK(at(pixels, 2, 1) == Rgba{{1, 1, 65504, 1}});
        CHECK(at(pixels, 3, 1) == Rgba{{1, 1, 1, 1}});
    }
}

TEST_CASE("Alpha is coverage: no colour where it is zero, never above one") {
    const Folder folder;
    Part part;
    part.channels = rgb();
    part.channels.push_back({"A", SampleType::half,
                             [](int x, int) { return uint32_t(halfFromFloat(float(x) - 1)); }, 1});
    write(folder / "plate.exr", {part});  // alpha -1, 0, 1, 2 from left to right
    const PlatePixels pixels = readPlate(folder / "plate.exr");
    CHECK(at(pixels, 0, 0) == kNothing);
    CHECK(at(pixels, 1, 0) == kNothing);
    CHECK(at(pixels, 2, 0) == rampAt(2, 0));
    CHECK(at(pixels, 3, 0) == rampAt(3, 0));
    CHECK(pixels.bad_pixels == 0);
}

TEST_CASE("An alpha that is zero everywhere says nothing: the picture counts") {
    const Folder folder;
    Part part;
    part.channels = rgb();
    part.channels.push_back(flat("A", 0));
    write(folder / "plate.exr", {part});
    CHECK(at(readPlate(folder / "plate.exr"), 3, 2) == rampAt(3, 2));
}

TEST_CASE("Every EXIF orientation is turned upright, header and pixels alike") {
    // CIPA DC-008, tag 274: where the upright picture's left and top are in the stored one. The
    // stored picture below is 3 x 2 with code values 10 .. 60 in reading order.
    const Folder folder;
    struct Case {
        int orientation, width;
        std::vector<int> upright;
    };
    for (const Case& c :
         {Case{1, 3, {10, 20, 30, 40, 50, 60}}, Case{2, 3, {30, 20, 10, 60, 50, 40}},
          Case{3, 3, {60, 50, 40, 30, 20, 10}}, Case{4, 3, {40, 50, 60, 10, 20, 30}},
          Case{5, 2, {10, 40, 20, 50, 30, 60}}, Case{6, 2, {40, 10, 50, 20, 60, 30}},
          Case{7, 2, {60, 30, 50, 20, 40, 10}}, Case{8, 2, {30, 60, 20, 50, 10, 40}}}) {
        INFO("orientation " << c.orientation);
        for (const bool as_float : {false, true}) {
            OIIO::ImageSpec spec(3, 2, 3, as_float ? OIIO::TypeFloat : OIIO::TypeUInt8);
            spec.attribute("Orientation", c.orientation);
            std::vector<float> codes;
            for (int i = 1; i <= 6; ++i) codes.insert(codes.end(), 3, float(i * 10) / 255);
            writeWithOiio(folder / "a.tif", spec, codes);
            const PlateFile file = readPlateHeader(folder / "a.tif", "scene_linear");
            REQUIRE(file.width == c.width);
            REQUIRE(file.height == 6 / c.width);
            const PlatePixels pixels = readPlatePixels(file);
            for (int i = 0; i < 6; ++i) {
                CHECK(std::lround(at(pixels, i % c.width, i / c.width).v[0] * 255) ==
                      c.upright[size_t(i)]);
            }
        }
    }
}

TEST_CASE("A turned plate with a data window of its own keeps it in place") {
    const Folder folder;
    Part part;
    part.display = {0, 0, 9, 6};
    part.data = {2, 1, 7, 5};
    part.channels = rgb();
    part.attributes = {attribute("Orientation", "int", bytesOf(int32_t(6)))};
    write(folder / "plate.exr", {part});
    const PlatePixels pixels = readPlate(folder / "plate.exr");
    REQUIRE(pixels.width == 7);
    REQUIRE(pixels.height == 10);
    // Orientation 6: stored row r is the upright column counted from the right, stored column the
    // row.
    CHECK(at(pixels, 6 - 1, 2) == rampAt(2, 1));
    CHECK(at(pixels, 6 - 5, 7) == rampAt(7, 5));
    CHECK(at(pixels, 6, 2) == kNothing);
    CHECK(at(pixels, 5, 1) == kNothing);
}

TEST_CASE("Tiles and bands of rows that do not divide the picture come out whole") {
    const Folder folder;
    const int width = 150, height = 700;  // more rows than two bands, no multiple of anything
    std::vector<float> values;
    for (int i = 0; i < width * height; ++i) {
        for (int c = 0; c < 3; ++c) values.push_back(float(i % 1999) + 0.25f * float(c));
    }
    for (const auto& [name, tile, compression] : {std::tuple{"a.exr", 0, "zip"},
                                                  {"b.exr", 64, "zip"},
                                                  {"c.exr", 48, "piz"},
                                                  {"d.exr", 0, "none"},
                                                  {"e.exr", 0, "dwab"},
                                                  {"f.tif", 64, "zip"},
                                                  {"g.tif", 0, "lzw"},
                                                  {"h.exr", 0, "pxr24"}}) {
        INFO(name << ' ' << compression);
        OIIO::ImageSpec spec(
            width, height, 3,
            fs::path(name).extension() == ".exr" ? OIIO::TypeHalf : OIIO::TypeFloat);
        spec.tile_width = spec.tile_height = tile;
        spec.attribute("compression", compression);
        writeWithOiio(folder / name, spec, values);
        const PlatePixels pixels = readPlate(folder / name);
        const float tolerance = std::string(compression) == "dwab" ? 40.0f : 0.0f;  // lossy
        int unlike = 0;
        for (int y = 0; y < height; ++y) {
            for (int x = 0; x < width; ++x) {
                const Rgba rgba = at(pixels, x, y);
                for (int c = 0; c < 3; ++c) {
                    const float expected = values[size_t((y * width + x) * 3 + c)];
                    const float half = floatFromHalf(halfFromFloat(expected));
                    unlike += std::abs(rgba.v[c] - (pixels.isHalf() ? half : expected)) > tolerance;
                }
                unlike += rgba.v[3] != 1;
            }
        }
        CHECK(unlike == 0);
    }
}
