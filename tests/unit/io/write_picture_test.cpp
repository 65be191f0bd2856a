// Pictures written and read again by OpenImageIO's own reader.
#include <OpenImageIO/imageio.h>

#include <catch2/catch.hpp>
#include <cmath>

#include "io/input_error.h"
#include "io/plate_file.h"
#include "tests/program.h"

namespace fs = std::filesystem;
using namespace plateloom::io;
using plateloom::test::Folder;

namespace {

Picture ramp(int width, int height, int channels) {
    Picture picture(width, height, channels);
    for (size_t i = 0; i < picture.data.size(); ++i) {
        picture.data[i] = float(i % 1021) / 1024.0f;
    }
    return picture;
}

struct ReadBack {
    OIIO::ImageSpec spec;
    std::vector<float> values;
};

ReadBack readBack(const fs::path& path) {
    auto in = OIIO::ImageInput::open(path.string());
    REQUIRE(in);
    ReadBack read;
    read.spec = in->spec();
    read.values.resize(read.spec.image_pixels() * size_t(read.spec.nchannels));
    REQUIRE(in->read_image(0, 0, 0, read.spec.nchannels, OIIO::TypeFloat, read.values.data()));
    return read;
}

double largestDifference(const std::vector<float>& a, const std::vector<float>& b) {
    REQUIRE(a.size() == b.size());
    double largest = 0;
    for (size_t i = 0; i < a.size(); ++i)
        largest = std::max(largest, std::abs(double(a[i]) - b[i]));
    return largest;
}

size_t filesIn(const fs::path& folder) {
    return size_t(std::distance(fs::directory_iterator(folder), fs::directory_iterator()));
}

}  // namespace

TEST_CASE("An EXR keeps values, data window, timecode, rate and chromaticities") {
    const Folder folder;
    PictureTags tags;
    tags.timecode_word = 0x01020304u;
    tags.timecode_user = 0xabcdef01u;
    tags.frame_rate = FrameRate{24000, 1001};
    tags.chromaticities =
        std::vector<float>{0.713f, 0.293f, 0.165f, 0.830f, 0.128f, 0.044f, 0.32168f, 0.33767f};
    const Picture written = ramp(37, 301, 4);  // more rows than a band
    for (const bool half : {true, false}) {
        writePicture(folder / "a.exr", written, tags, half, {-5, -7, 30, 280});
        const ReadBack read = readBack(folder / "a.exr");
        CHECK(read.spec.format == (half ? OIIO::TypeHalf : OIIO::TypeFloat));
        CHECK(read.spec.x == -5);
        CHECK(read.spec.y == -7);
        CHECK(read.spec.full_x == 0);
        CHECK(read.spec.full_width == 30);
        CHECK(read.spec.full_height == 280);
        CHECK(read.spec.get_string_attribute("compression") == "zip");
        CHECK(largestDifference(read.values, written.data) <= (half ? 0x1p-12 : 0));

        const PlateFile file = readPlateHeader(folder / "a.exr");
        CHECK(file.timecode_word == tags.timecode_word);
        CHECK(file.timecode_user == tags.timecode_user);
        CHECK(file.frame_rate == tags.frame_rate);
        CHECK(file.chromaticities == tags.chromaticities);
    }
    CHECK(filesIn(folder.path()) == 1);
}

TEST_CASE("What is too bright for half becomes the largest half, never infinity") {
    const Folder folder;
    Picture bright(2, 1, 3);
    bright.data = {1e6f, -1e6f, 65504.0f, 65519.0f, 65530.0f, 3.0f};
    for (const char* name : {"a.exr", "a.tif"}) {
        writePicture(folder / name, bright, {}, true, {});
        const auto read = readBack(folder / name);
        CHECK(read.spec.format == OIIO::TypeHalf);
        CHECK(read.values == std::vector<float>{65504, -65504, 65504, 65504, 65504, 3});
    }
}

TEST_CASE("A TIFF is float, half for light, or 16-bit code values for display") {
    const Folder folder;
    const Picture written = ramp(33, 20, 3);
    PictureTags for_display;
    for_display.colour_space = "sRGB";
    writePicture(folder / "a.tif", written, {}, false, {});
    CHECK(largestDifference(readBack(folder / "a.tif").values, written.data) == 0);
    writePicture(folder / "b.tif", written, {}, true, {});
    CHECK(readBack(folder / "b.tif").spec.format == OIIO::TypeHalf);
    CHECK(largestDifference(readBack(folder / "b.tif").values, written.data) <= 0x1p-12);
    writePicture(folder / "c.tif", written, for_display, true, {});
    CHECK(readBack(folder / "c.tif").spec.format == OIIO::TypeUInt16);
    CHECK(largestDifference(readBack(folder / "c.tif").values, written.data) <= 0.5 / 65535 + 1e-7);
    CHECK(readPlateHeader(folder / "c.tif").colour_space == "sRGB");
}

TEST_CASE("PNG and JPEG take the values as they are given, and say that they are sRGB") {
    const Folder folder;
    PictureTags for_display;
    for_display.colour_space = "sRGB";
    const Picture written = ramp(33, 20, 3);
    writePicture(folder / "a.png", written, for_display, true, {});
    const ReadBack png = readBack(folder / "a.png");
    CHECK(png.spec.format == OIIO::TypeUInt8);
    CHECK(png.spec.get_string_attribute("oiio:ColorSpace") == "sRGB");
    CHECK(largestDifference(png.values, written.data) <= 0.5 / 255 + 1e-7);
    Picture with_alpha(16, 16, 4, 0.5f);
    for (int y = 0; y < 16; ++y) {
        for (int x = 0; x < 16; ++x) with_alpha.at(x, y)[3] = 1.0f;
    }
    writePicture(folder / "a.jpg", with_alpha, for_display, true, {});
    const ReadBack jpeg = readBack(folder / "a.jpg");
    REQUIRE(jpeg.spec.nchannels == 3);
    CHECK(jpeg.values.front() == Approx(0.5).margin(1.0 / 255));
    CHECK(jpeg.spec.get_string_attribute("oiio:ColorSpace") == "sRGB");
}

TEST_CASE("An extension that names no format is refused before anything is written") {
    const Folder folder;
    for (const char* name : {"a", "a.xyz", "a.dpx"}) {
        CHECK_THROWS_AS(writePicture(folder / name, ramp(4, 4, 3), {}, true, {}), InputError);
    }
    CHECK(filesIn(folder.path()) == 0);
}
