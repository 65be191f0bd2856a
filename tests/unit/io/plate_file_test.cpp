// Plates written and read again: what goes in comes out, with its tags.
#include "io/plate_file.h"

#include <unistd.h>

#include <catch2/catch.hpp>
#include <filesystem>

#include "io/panorama_file.h"

namespace fs = std::filesystem;
using namespace plateloom::io;

namespace {

struct Folder {
    fs::path path = fs::temp_directory_path() / ("plate_file_test." + std::to_string(::getpid()));
    Folder() { fs::create_directories(path); }
    ~Folder() { fs::remove_all(path); }
};

Picture ramp(int width, int height, int channels) {
    Picture picture(width, height, channels, 1.0f);
    for (int y = 0; y < height; ++y) {
        for (int x = 0; x < width; ++x) {
            for (int c = 0; c < std::min(channels, 3); ++c) {
                picture.at(x, y)[c] = float(x + 2 * y + 3 * c) / 64.0f;
            }
        }
    }
    return picture;
}

}  // namespace

TEST_CASE("An EXR plate keeps its values, timecode, frame rate and chromaticities") {
    const Folder folder;
    PictureTags tags;
    tags.timecode_word = 0x01020304u;
    tags.timecode_user = 0xabcdef01u;
    tags.frame_rate = FrameRate{24000, 1001};
    tags.chromaticities =
        std::vector<float>{0.713f, 0.293f, 0.165f, 0.830f, 0.128f, 0.044f, 0.32168f, 0.33767f};
    const Picture written = ramp(33, 17, 3);
    for (const bool half : {true, false}) {
        const fs::path path = folder.path / "plate.exr";
        writePicture(path, written, tags, half, {});
        const PlateFile file = readPlateHeader(path);
        CHECK(file.width == 33);
        CHECK(file.height == 17);
        CHECK(file.colour_space == "scene_linear");
        CHECK(file.needs_float == !half);
        CHECK(file.timecode_word == tags.timecode_word);
        CHECK(file.timecode_user == tags.timecode_user);
        CHECK(file.frame_rate == tags.frame_rate);
        CHECK(file.chromaticities == tags.chromaticities);
        const PlatePixels pixels = readPlatePixels(file);
        CHECK(pixels.isHalf() == half);
        float rgba[4];
        pixels.read(32, 16, rgba);
        for (int c = 0; c < 3; ++c) CHECK(rgba[c] == written.at(32, 16)[c]);
        CHECK(rgba[3] == 1.0f);
    }
}

TEST_CASE("A panorama written tile by tile in any order is read back whole") {
    const Folder folder;
    const Picture written = ramp(300, 150, 4);
    for (const char* name : {"pano.exr", "pano.tif"}) {
        PanoramaWriter::Format format;
        format.width = 300;
        format.height = 150;
        format.tile = 64;
        format.half = true;
        PictureTags tags;
        tags.latlong = true;
        PanoramaWriter writer(folder.path / name, format, tags);
        for (const int y : {128, 0}) {
            for (const int x : {256, 128, 0}) {
                const int width = std::min(128, 300 - x), height = std::min(128, 150 - y);
                Picture part(width, height, 4);
                for (int row = 0; row < height; ++row) {
                    std::copy_n(written.at(x, y + row), size_t(width) * 4, part.at(0, row));
                }
                writer.write(x, y, part);
            }
        }
        writer.finish();
        const PlatePixels pixels = readPlatePixels(readPlateHeader(folder.path / name));
        REQUIRE(pixels.isHalf());
        int unlike = 0;
        for (int y = 0; y < 150; ++y) {
            for (int x = 0; x < 300; ++x) {
                float rgba[4];
                pixels.read(x, y, rgba);
                for (int c = 0; c < 4; ++c) unlike += rgba[c] != written.at(x, y)[c];
            }
        }
        CHECK(unlike == 0);
    }
}
