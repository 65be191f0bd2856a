#include "io/made_picture.h"

#include <OpenImageIO/imageio.h>

#include <catch2/catch.hpp>
#include <fstream>
#include <random>

#include "tests/program.h"

using namespace plateloom::io;
using plateloom::test::Folder;

namespace {

constexpr int kWidth = 96, kHeight = 150;

// Two parts of unlike channels and types. What does not compress is stored as it is, without a
// checksum, so the samples have few values.
void writeParts(const std::filesystem::path& path, const std::string& recipe, bool tiled) {
    std::vector<OIIO::ImageSpec> parts{{kWidth, kHeight, 4, OIIO::TypeHalf},
                                       {kWidth, kHeight, 1, OIIO::TypeFloat}};
    parts[0].attribute("plateloom:recipe", recipe);
    parts[0].attribute("oiio:subimagename", "beauty");
    parts[1].attribute("oiio:subimagename", "depth");
    parts[1].channelnames = {"Z"};
    for (auto& part : parts) {
        part.attribute("compression", "zip");
        if (tiled) part.tile_width = part.tile_height = 64;
    }
    std::mt19937 random(3);
    std::uniform_int_distribution<int> light(1, 60);
    std::vector<float> samples(size_t(kWidth) * kHeight * 4);
    for (float& sample : samples) sample = float(light(random)) / 64;
    const auto output = OIIO::ImageOutput::create("openexr");
    REQUIRE(output->open(path.string(), int(parts.size()), parts.data()));
    REQUIRE(output->write_image(OIIO::TypeFloat, samples.data()));
    REQUIRE(output->open(path.string(), parts[1], OIIO::ImageOutput::AppendSubimage));
    REQUIRE(output->write_image(OIIO::TypeFloat, samples.data()));
    REQUIRE(output->close());
}

// Overwrites some bytes at a share of the file's length.
void damage(const std::filesystem::path& path, double share) {
    const auto size = std::filesystem::file_size(path);
    std::fstream file(path, std::ios::binary | std::ios::in | std::ios::out);
    file.seekp(std::streamoff(share * double(size)));
    file << std::string(64, '\x7f');
}

}  // namespace

TEST_CASE("A picture is known again by its recipe, whatever parts and channels it has") {
    const bool tiled = GENERATE(false, true);
    const Folder folder;
    const auto path = folder / "frame.exr";
    CHECK_FALSE(isMade(path, "one"));
    writeParts(path, "one", tiled);
    CHECK(isMade(path, "one"));
    CHECK_FALSE(isMade(path, "another"));
    CHECK_FALSE(isMade(path, ""));
    CHECK(readMade(path, "one").has_value());
    CHECK_FALSE(isMade(folder.path(), "one"));
}

TEST_CASE("A picture that is damaged anywhere, or cut short, is not kept") {
    const bool tiled = GENERATE(false, true);
    const Folder folder;
    const auto path = folder / "frame.exr";
    for (const double share : {0.2, 0.5, 0.9}) {
        writeParts(path, "one", tiled);
        damage(path, share);
        INFO(share);
        CHECK_FALSE(isMade(path, "one"));
    }
    writeParts(path, "one", tiled);
    std::filesystem::resize_file(path, std::filesystem::file_size(path) * 3 / 4);
    CHECK_FALSE(isMade(path, "one"));
}
