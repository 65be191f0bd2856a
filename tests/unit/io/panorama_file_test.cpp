#include "io/panorama_file.h"

#include <OpenImageIO/imageio.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <random>

#include "io/input_error.h"
#include "tests/program.h"

namespace fs = std::filesystem;
using namespace plateloom::io;
using plateloom::test::Folder;

namespace {

float valueAt(int x, int y, int channel) {
    return channel == 3 ? 1.0f : float((x * 7 + y * 13 + channel * 5) % 2048);
}

Picture part(int x0, int y0, int width, int height) {
    Picture picture(width, height, 4);
    for (int y = 0; y < height; ++y) {
        for (int x = 0; x < width; ++x) {
            for (int c = 0; c < 4; ++c) picture.at(x, y)[c] = valueAt(x0 + x, y0 + y, c);
        }
    }
    return picture;
}

void writeAll(PanoramaWriter& writer, const PanoramaWriter::Format& format, int step,
              bool shuffle) {
    std::vector<std::pair<int, int>> corners;
    for (int y = 0; y < format.height; y += step) {
        for (int x = 0; x < format.width; x += step) corners.emplace_back(x, y);
    }
    if (shuffle) std::shuffle(corners.begin(), corners.end(), std::mt19937(3));
    for (const auto& [x, y] : corners) {
        writer.write(
            x, y, part(x, y, std::min(step, format.width - x), std::min(step, format.height - y)));
    }
    writer.finish();
}

int unlikePixels(const fs::path& path, int channels) {
    auto in = OIIO::ImageInput::open(path.string());
    REQUIRE(in);
    const OIIO::ImageSpec spec = in->spec();
    REQUIRE(spec.nchannels == channels);
    std::vector<float> values(spec.image_pixels() * size_t(channels));
    REQUIRE(in->read_image(0, 0, 0, channels, OIIO::TypeFloat, values.data()));
    int unlike = 0;
    for (int y = 0; y < spec.height; ++y) {
        for (int x = 0; x < spec.width; ++x) {
            for (int c = 0; c < channels; ++c) {
                unlike += values[(size_t(y) * size_t(spec.width) + size_t(x)) * size_t(channels) +
                                 size_t(c)] != valueAt(x, y, c);
            }
        }
    }
    return unlike;
}

size_t filesIn(const fs::path& folder) {
    return size_t(std::distance(fs::directory_iterator(folder), fs::directory_iterator()));
}

}  // namespace

TEST_CASE("Regions of one or many tiles, in any order, make the whole panorama") {
    const Folder folder;
    for (const char* name : {"a.exr", "a.tif", "b.TIFF", "b.EXR"}) {
        for (const bool half : {true, false}) {
            for (const bool alpha : {true, false}) {
                for (const int step : {64, 192, 1024}) {
                    INFO(name << (half ? " half" : " float") << (alpha ? " alpha " : " ") << step);
                    const PanoramaWriter::Format format{517, 301, 64, half, alpha};
                    PanoramaWriter writer(folder / name, format, {});
                    writeAll(writer, format, step, true);
                    CHECK(unlikePixels(folder / name, alpha ? 4 : 3) == 0);
                    auto in = OIIO::ImageInput::open((folder / name).string());
                    CHECK(in->spec().tile_width == 64);
                    CHECK(in->spec().format == (half ? OIIO::TypeHalf : OIIO::TypeFloat));
                }
            }
        }
    }
}

TEST_CASE("Panoramas wider than 32,767 pixels are written and read") {
    const Folder folder;
    for (const char* name : {"a.exr", "a.tif"}) {
        const PanoramaWriter::Format format{40000, 64, 256, true, true};
        PanoramaWriter writer(folder / name, format, {});
        writeAll(writer, format, 512, true);
        CHECK(unlikePixels(folder / name, 4) == 0);
        const PlatePixels pixels = readPlatePixels(readPlateHeader(folder / name));
        float rgba[4];
        pixels.read(39999, 63, rgba);
        CHECK(rgba[1] == valueAt(39999, 63, 1));
    }
}

TEST_CASE("A panorama that is not finished leaves nothing behind") {
    const Folder folder;
    {
        const PanoramaWriter::Format format{512, 256, 64, true, true};
        PanoramaWriter writer(folder / "a.exr", format, {});
        writer.write(64, 0, part(64, 0, 64, 64));
        CHECK(filesIn(folder.path()) == 1);
        CHECK_FALSE(fs::exists(folder / "a.exr"));
    }
    CHECK(filesIn(folder.path()) == 0);
}

TEST_CASE("What is too bright for half becomes the largest half") {
    const Folder folder;
    const PanoramaWriter::Format format{64, 64, 64, true, true};
    PanoramaWriter writer(folder / "a.exr", format, {});
    writer.write(0, 0, Picture(64, 64, 4, 1e9f));
    CHECK(writer.beyondHalf() == 64 * 64 * 4);
    writer.finish();
    auto in = OIIO::ImageInput::open((folder / "a.exr").string());
    std::vector<float> values(64 * 64 * 4);
    REQUIRE(in->read_image(0, 0, 0, 4, OIIO::TypeFloat, values.data()));
    CHECK(values[0] == 65504.0f);
}

TEST_CASE("A format that has no tiles, or no room, is refused at once") {
    const Folder folder;
    const PanoramaWriter::Format format{64, 64, 64, true, true};
    CHECK_THROWS_AS(PanoramaWriter(folder / "a.png", format, {}), InputError);
    CHECK_THROWS_WITH(PanoramaWriter(folder / "missing/a.exr", format, {}),
                      Catch::Contains("missing"));
    CHECK_THROWS_AS(PanoramaWriter(folder / "missing/a.exr", format, {}), RoomError);
    CHECK(filesIn(folder.path()) == 0);
}
