// Code values of every kind of file, and the light that they become.
#include <OpenImageIO/imageio.h>

#include <catch2/catch.hpp>
#include <cmath>

#include "io/input_error.h"
#include "io/plate_file.h"
#include "io/transfer_curves.h"
#include "tests/program.h"
#include "tests/unit/io/read_plate.h"

using namespace plateloom::io;
using plateloom::test::Folder;

TEST_CASE("Code values become light through the curve that the file or the caller names") {
    const Folder folder;
    constexpr double kHalfStep = 0x1p-11;
    const std::vector<uint8_t> bytes{0, 10, 128, 255, 1, 77};
    const std::vector<uint16_t> words{0, 300, 32768, 65535, 1, 20000};
    for (const char* name : {"a.png", "a.tif"}) {
        writeWithOiio(folder / name, OIIO::ImageSpec(2, 1, 3, OIIO::TypeUInt8), bytes);
        const PlateFile file = readPlateHeader(folder / name);
        CHECK(file.colour_space == "sRGB");
        const PlatePixels pixels = readPlatePixels(file);
        REQUIRE(pixels.isHalf());
        for (int i = 0; i < 6; ++i) {
            CHECK(at(pixels, i / 3, 0).v[i % 3] ==
                  Approx(linearFromSrgb(float(bytes[size_t(i)]) / 255))
                      .epsilon(kHalfStep)
                      .margin(0x1p-25));
        }
        CHECK(pixels.clip_level == Approx(0.995f));
    }
    for (const char* name : {"b.png", "b.tif"}) {
        writeWithOiio(folder / name, OIIO::ImageSpec(2, 1, 3, OIIO::TypeUInt16), words);
        const PlatePixels pixels = readPlate(folder / name, "ACEScct");
        for (int i = 0; i < 6; ++i) {
            CHECK(at(pixels, i / 3, 0).v[i % 3] ==
                  Approx(linearFromAcescct(float(words[size_t(i)]) / 65535))
                      .epsilon(kHalfStep)
                      .margin(0x1p-25));
        }
        CHECK(pixels.clip_level == Approx(0.995f * linearFromAcescct(1)));
    }
    CHECK_THROWS_WITH(readPlateHeader(folder / "a.png", "purple"),
                      Catch::Contains("a.png") && Catch::Contains("purple"));
    // A floating-point TIFF is light already.
    writeWithOiio<float>(folder / "c.tif", OIIO::ImageSpec(1, 1, 3, OIIO::TypeFloat),
                         {-0.5f, 0.5f, 70000.0f});
    const PlateFile light = readPlateHeader(folder / "c.tif");
    CHECK(light.colour_space == "scene_linear");
    CHECK(light.needs_float);
    CHECK(at(readPlatePixels(light), 0, 0) == Rgba{{-0.5f, 0.5f, 70000.0f, 1}});
}

TEST_CASE("A DPX says which light its codes are, or has to be told") {
    const Folder folder;
    const auto writeDpx = [&](const char* transfer) {
        OIIO::ImageSpec spec(4, 2, 3, OIIO::TypeUInt16);
        spec.attribute("oiio:BitsPerSample", 10);
        spec.attribute("dpx:Transfer", transfer);
        writeWithOiio<uint16_t>(folder / "a.dpx", spec,
                                std::vector<uint16_t>(24, 512 << 6 | 512 >> 4));
    };
    const float code = 512 / 1023.0f;
    writeDpx("Linear");
    CHECK(readPlateHeader(folder / "a.dpx").colour_space == "scene_linear");
    CHECK(at(readPlate(folder / "a.dpx"), 1, 1).v[1] == Approx(code).epsilon(1e-3));
    writeDpx("ITU-R 709-4");
    CHECK(at(readPlate(folder / "a.dpx"), 1, 1).v[1] ==
          Approx(linearFromRec709(code)).epsilon(1e-3));
    for (const char* unclear : {"Printing density", "User defined", "Logarithmic"}) {
        writeDpx(unclear);
        CHECK_THROWS_WITH(readPlateHeader(folder / "a.dpx"),
                          Catch::Contains("--colour-space") && Catch::Contains("ACEScct"));
        CHECK(readPlateHeader(folder / "a.dpx", "Rec.709").colour_space == "Rec.709");
    }
}

TEST_CASE("A DPX's black and white codes are its black and white", "[dpx]") {
    // SMPTE ST 268-1: television header (floats), image element (whole numbers).
    const Folder folder;
    const auto writeDpx = [&](const char* transfer, const char* black, const char* white) {
        OIIO::ImageSpec spec(4, 1, 3, OIIO::TypeUInt16);
        spec.attribute("oiio:BitsPerSample", 10);
        spec.attribute("dpx:Transfer", transfer);
        const bool television = std::string(black) == "dpx:BlackLevel";
        for (const auto& [name, code] : {std::pair{black, 64}, std::pair{white, 940}}) {
            if (television)
                spec.attribute(name, float(code));
            else
                spec.attribute(name, OIIO::TypeUInt, &code);
        }
        std::vector<uint16_t> codes;
        for (const int code : {64, 502, 940, 1019})
            codes.insert(codes.end(), 3, uint16_t(code << 6 | code >> 4));
        writeWithOiio<uint16_t>(folder / "a.dpx", spec, codes);
        return readPlate(folder / "a.dpx");
    };
    const float above = (1019 - 64) / 876.0f, top = (1023 - 64) / 876.0f;
    for (const auto& [black, white] : {std::pair{"dpx:BlackLevel", "dpx:WhiteLevel"},
                                       std::pair{"dpx:LowData", "dpx:HighData"}}) {
        CAPTURE(black);
        const PlatePixels video = writeDpx("ITU-R 709-4", black, white);
        CHECK(at(video, 0, 0).v[1] == Approx(0).margin(1e-4));
        CHECK(at(video, 1, 0).v[1] == Approx(linearFromRec709(0.5f)).epsilon(1e-3));
        CHECK(at(video, 2, 0).v[1] == Approx(1).epsilon(1e-3));
        CHECK(at(video, 3, 0).v[1] == Approx(linearFromRec709(above)).epsilon(1e-3));
        CHECK(video.clip_level == Approx(0.995f * linearFromRec709(top)).epsilon(1e-4));
        const PlatePixels light = writeDpx("Linear", black, white);
        CHECK(at(light, 1, 0).v[2] == Approx(0.5f).epsilon(1e-3));
    }
    // A density range is no range of light.
    OIIO::ImageSpec film(1, 1, 3, OIIO::TypeUInt16);
    film.attribute("oiio:BitsPerSample", 10);
    film.attribute("dpx:Transfer", "Printing density");
    const unsigned low = 95, high = 685;
    film.attribute("dpx:LowData", OIIO::TypeUInt, &low);
    film.attribute("dpx:HighData", OIIO::TypeUInt, &high);
    writeWithOiio<uint16_t>(folder / "f.dpx", film, {512 << 6 | 512 >> 4, 0, 0});
    CHECK(at(readPlate(folder / "f.dpx", "scene_linear"), 0, 0).v[0] ==
          Approx(512 / 1023.0f).epsilon(1e-3));
}

TEST_CASE("Pixels' shape is read, and handed on with a picture", "[aspect]") {
    const Folder folder;
    OIIO::ImageSpec spec(2, 1, 3, OIIO::TypeHalf);
    spec.attribute("PixelAspectRatio", 2.0f);
    writeWithOiio<float>(folder / "a.exr", spec, std::vector<float>(6, 0.5f));
    const PlateFile file = readPlateHeader(folder / "a.exr");
    CHECK(file.pixel_aspect == 2);
    writePicture(folder / "b.exr", Picture(2, 1, 3), tagsOf(file), true, {0, 0, 2, 1});
    CHECK(readPlateHeader(folder / "b.exr").pixel_aspect == 2);
    writeWithOiio<float>(folder / "c.exr", OIIO::ImageSpec(2, 1, 3, OIIO::TypeHalf),
                         std::vector<float>(6, 0.5f));
    CHECK(readPlateHeader(folder / "c.exr").pixel_aspect == 1);
}

TEST_CASE("A colour space by name says the primaries of a file that states none", "[primaries]") {
    const Folder folder;
    writeWithOiio<float>(folder / "a.exr", OIIO::ImageSpec(1, 1, 3, OIIO::TypeHalf),
                         {0.5f, 0.5f, 0.5f});
    CHECK_FALSE(readPlateHeader(folder / "a.exr").chromaticities);
    CHECK_FALSE(readPlateHeader(folder / "a.exr", "scene_linear").chromaticities);
    const auto file = readPlateHeader(folder / "a.exr", "ACEScg");
    REQUIRE(file.chromaticities);
    CHECK(same(*file.chromaticities, primaries::kAp1));
    // What somebody says comes before what the file says, but a plain "linear" says nothing.
    OIIO::ImageSpec spec(1, 1, 3, OIIO::TypeHalf);
    spec.attribute("chromaticities", OIIO::TypeDesc(OIIO::TypeDesc::FLOAT, 8),
                   primaries::kRec2020.data());
    writeWithOiio<float>(folder / "b.exr", spec, {0.5f, 0.5f, 0.5f});
    CHECK(same(*readPlateHeader(folder / "b.exr").chromaticities, primaries::kRec2020));
    CHECK(same(*readPlateHeader(folder / "b.exr", "scene_linear").chromaticities,
               primaries::kRec2020));
    CHECK(same(*readPlateHeader(folder / "b.exr", "ACEScg").chromaticities, primaries::kAp1));
}

TEST_CASE("Pixels come in the job's primaries where a plate has others", "[primaries]") {
    const Folder folder;
    for (const auto& type : {OIIO::TypeHalf, OIIO::TypeFloat}) {
        OIIO::ImageSpec spec(2, 1, 3, type);
        writeWithOiio<float>(folder / "a.exr", spec, {0.25f, 0.5f, 1.0f, 0.8f, 0.8f, 0.8f});
        PlateFile file = readPlateHeader(folder / "a.exr");
        file.to_working = {0, 1, 0, 0, 0, 1, 0.5f, 0.25f, 0.25f};
        const PlatePixels pixels = readPlatePixels(file);
        CHECK(at(pixels, 0, 0) == Rgba{{0.5f, 1.0f, 0.5f, 1}});
    }
}

TEST_CASE("A PNG's own gamma is honoured, and refused where no curve is known for it") {
    const Folder folder;
    const auto writePng = [&](float gamma) {
        OIIO::ImageSpec spec(1, 1, 3, OIIO::TypeUInt8);
        spec.attribute("oiio:ColorSpace", "GammaCorrected");
        spec.attribute("oiio:Gamma", gamma);
        writeWithOiio<uint8_t>(folder / "a.png", spec, {128, 128, 128});
    };
    for (const float gamma : {1.0f, 1.8f, 2.2f, 2.4f}) {
        writePng(gamma);
        CHECK(at(readPlate(folder / "a.png"), 0, 0).v[0] ==
              Approx(std::pow(128 / 255.0f, gamma)).epsilon(0x1p-11));
    }
    writePng(3.3f);
    CHECK_THROWS_WITH(readPlateHeader(folder / "a.png"), Catch::Contains("--colour-space"));
}
