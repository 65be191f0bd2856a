#include "io/colour.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <cstdlib>

#include "io/input_error.h"
#include "io/transfer_curves.h"
#include "tests/program.h"
#include "tests/unit/io/read_plate.h"

using namespace plateloom::io;
using plateloom::test::Folder;

namespace {

// Float arithmetic with one power in it.
constexpr float kRelative = 2e-6f;

// Sets $OCIO for one test and puts back what was there.
class OcioSetTo {
public:
    explicit OcioSetTo(const std::string& path) {
        if (const char* old = std::getenv("OCIO")) before_ = old;
        if (path.empty()) {
            ::unsetenv("OCIO");
        } else {
            ::setenv("OCIO", path.c_str(), 1);
        }
    }
    ~OcioSetTo() {
        if (before_.empty()) {
            ::unsetenv("OCIO");
        } else {
            ::setenv("OCIO", before_.c_str(), 1);
        }
    }
    OcioSetTo(const OcioSetTo&) = delete;
    OcioSetTo& operator=(const OcioSetTo&) = delete;

private:
    std::string before_;
};

// scene_linear is ten times "dim" and, to tell a matrix from a curve, "swapped" changes R and B.
constexpr const char* kConfiguration = R"(ocio_profile_version: 2
search_path: ""
roles:
  default: raw
  scene_linear: light
colorspaces:
  - !<ColorSpace>
    name: raw
    isdata: true
  - !<ColorSpace>
    name: light
  - !<ColorSpace>
    name: dim
    aliases: [dim_alias]
    to_scene_reference: !<MatrixTransform> {matrix: [10, 0, 0, 0, 0, 10, 0, 0, 0, 0, 10, 0, 0, 0, 0, 1]}
  - !<ColorSpace>
    name: swapped
    to_scene_reference: !<MatrixTransform> {matrix: [0, 0, 1, 0, 0, 1, 0, 0, 1, 0, 0, 0, 0, 0, 0, 1]}
)";

}  // namespace

TEST_CASE("Names are understood in any spelling, and linear ones change nothing") {
    const OcioSetTo unset("");
    for (const char* name : {"scene_linear", "Linear", "lin_rec709", "Linear Rec.709 (sRGB)",
                             "ACEScg", "ACES2065-1", "ACES - ACEScg", "lin_ap0", "lin_srgb"}) {
        INFO(name);
        CHECK(Linearization(name).isNone());
        CHECK(linearWhite(name) == 1.0f);
    }
    CHECK(Linearization("srgb_texture")(0.5f) == linearFromSrgb(0.5f));
    CHECK(Linearization("sRGB - Texture")(0.5f) == linearFromSrgb(0.5f));
    CHECK(Linearization("rec709")(0.5f) == linearFromRec709(0.5f));
    CHECK(Linearization("ACES - ACEScct")(0.5f) == linearFromAcescct(0.5f));
    CHECK(Linearization("Gamma 2.2")(0.5f) == Approx(std::pow(0.5, 2.2)).epsilon(kRelative));
}

TEST_CASE("A name that nobody knows is refused, with some that are known") {
    const OcioSetTo unset("");
    CHECK_THROWS_WITH(linearWhite("purple"), Catch::Contains("purple") &&
                                                 Catch::Contains("ACEScct") &&
                                                 Catch::Contains("$OCIO"));
}

TEST_CASE("Only colour is linearised, whatever number of channels a pixel has") {
    const OcioSetTo unset("");
    float pixels[] = {0.5f, 0.25f, 1.0f, 0.5f, 0.1f, 0.2f, 0.3f, 0.4f};
    linearize(pixels, 2, 4, "sRGB");
    CHECK(pixels[0] == linearFromSrgb(0.5f));
    CHECK(pixels[2] == 1.0f);
    CHECK(pixels[3] == 0.5f);
    CHECK(pixels[6] == linearFromSrgb(0.3f));
    CHECK(pixels[7] == 0.4f);
    float grey[] = {0.5f, 0.25f};
    linearize(grey, 2, 1, "sRGB");
    CHECK(grey[0] == linearFromSrgb(0.5f));
    CHECK(grey[1] == linearFromSrgb(0.25f));
}

TEST_CASE("Curves rise without a step where their pieces meet, and go below zero as they should") {
    for (const TransferCurve curve :
         {linearFromSrgb, linearFromRec709, linearFromAcescct, linearFromAcescc}) {
        float before = curve(-0.3f);
        for (int i = 1; i <= 40000; ++i) {
            const float value = -0.3f + 1.3f * float(i) / 40000;
            const float light = curve(value);
            CHECK(light > before);
            // A step where the standards' rounded constants join would stand out.
            CHECK(light - before < 0.001f * (1.0f + std::abs(light)));
            before = light;
        }
    }
    CHECK(linearFromSrgb(-0.5f) == -linearFromSrgb(0.5f));
    for (const float light : {-0.2f, 0.0f, 0.001f, 0.18f, 1.0f, 5.0f}) {
        CHECK(linearFromSrgb(srgbFromLinear(light)) == Approx(light).margin(1e-6));
    }
}

TEST_CASE("Displayed values stay in range, rise, and are sRGB below the shoulder") {
    float before = -1;
    for (int i = 0; i <= 2000; ++i) {
        const float light = float(i) / 200;
        const float shown = displayFromLinear(light, 1.0f);
        CHECK(shown >= before);
        CHECK(shown <= 1.0f);
        if (light <= 0.8f) CHECK(shown == Approx(srgbFromLinear(light)).margin(1e-6));
        before = shown;
    }
    CHECK(displayFromLinear(0.1f, 4.0f) == displayFromLinear(0.4f, 1.0f));
    CHECK(displayFromLinear(-1.0f, 1.0f) == 0.0f);
    CHECK(displayFromLinear(std::nanf(""), 1.0f) == 0.0f);
    // No kink at the shoulder: the slopes of linear light on both sides agree within 1 %.
    const auto shoulder = [](float light) {
        return linearFromSrgb(displayFromLinear(light, 1.0f));
    };
    const float below = shoulder(0.8f) - shoulder(0.799f),
                above = shoulder(0.801f) - shoulder(0.8f);
    CHECK(above == Approx(below).epsilon(0.01));
}

TEST_CASE("The configuration that $OCIO names comes before the built-in curves") {
    const Folder folder;
    plateloom::test::put(folder / "config.ocio", kConfiguration);
    const OcioSetTo set((folder / "config.ocio").string());
    for (const char* name : {"dim", "dim_alias"}) {
        float pixel[] = {0.1f, 0.2f, 0.3f, 0.5f};
        linearize(pixel, 1, 4, name);
        CHECK(pixel[0] == Approx(1.0f).epsilon(kRelative));
        CHECK(pixel[2] == Approx(3.0f).epsilon(kRelative));
        CHECK(pixel[3] == 0.5f);
    }
    CHECK(linearWhite("dim") == Approx(10.0f).epsilon(kRelative));
    float swapped[] = {0.1f, 0.2f, 0.3f};
    linearize(swapped, 1, 3, "swapped");
    CHECK(swapped[0] == Approx(0.3f));
    CHECK(swapped[2] == Approx(0.1f));
    CHECK_FALSE(Linearization("swapped").isCurve());
    // What it does not know, the curves may; light stays light.
    CHECK(linearWhite("ACEScct") == linearFromAcescct(1.0f));
    CHECK(Linearization("scene_linear").isNone());
    CHECK_THROWS_WITH(linearWhite("purple"), Catch::Contains("dim"));
}

namespace {

// The scene reference is XYZ; light has the primaries of ITU-R BT.2020, which its name does not
// say.
constexpr const char* kStudio = R"(ocio_profile_version: 2
search_path: tables
roles:
  default: raw
  scene_linear: studio light
  cie_xyz_d65_interchange: xyz
colorspaces:
  - !<ColorSpace>
    name: raw
    isdata: true
  - !<ColorSpace>
    name: xyz
  - !<ColorSpace>
    name: studio light
    to_scene_reference: !<MatrixTransform> {matrix: [0.6369580, 0.1446169, 0.1688810, 0, 0.2627002, 0.6779981, 0.0593017, 0, 0, 0.0280727, 1.0609851, 0, 0, 0, 0, 1]}
  - !<ColorSpace>
    name: camera
    to_scene_reference: !<FileTransform> {src: camera.spi1d, interpolation: linear}
)";

std::string table(double top) {
    return "Version 1\nFrom 0.0 1.0\nLength 2\nComponents 1\n{\n 0.0\n " + std::to_string(top) +
           "\n}\n";
}

std::string digestWith(const Folder& folder, const std::string& name, double top) {
    std::filesystem::create_directories(folder / name / "tables");
    plateloom::test::put(folder / name / "config.ocio", kStudio);
    plateloom::test::put(folder / name / "tables/camera.spi1d", table(top));
    const OcioSetTo set((folder / name / "config.ocio").string());
    return conversionDigest("camera");
}

}  // namespace

TEST_CASE("After a conversion, primaries are those of the configuration's light", "[primaries]") {
    const Folder folder;
    std::filesystem::create_directories(folder / "tables");
    plateloom::test::put(folder / "tables/camera.spi1d", table(2));
    plateloom::test::put(folder / "config.ocio", kStudio);
    plateloom::test::put(folder / "silent.ocio", kConfiguration);
    // A file that was tagged before it is converted.
    OIIO::ImageSpec spec(1, 1, 3, OIIO::TypeHalf);
    spec.attribute("chromaticities", OIIO::TypeDesc(OIIO::TypeDesc::FLOAT, 8),
                   primaries::kRec709.data());
    writeWithOiio<float>(folder / "a.exr", spec, {0.5f, 0.5f, 0.5f});
    {
        const OcioSetTo set((folder / "config.ocio").string());
        const auto converted = readPlateHeader(folder / "a.exr", "camera");
        REQUIRE(converted.chromaticities);
        CHECK(same(*converted.chromaticities, primaries::kRec2020));
        CHECK(same(primariesOfSpace("studio light"), primaries::kRec2020));
        CHECK(same(*readPlateHeader(folder / "a.exr").chromaticities, primaries::kRec709));
    }
    const OcioSetTo set((folder / "silent.ocio").string());
    CHECK_FALSE(readPlateHeader(folder / "a.exr", "swapped").chromaticities);
    CHECK_THROWS_WITH(primariesOfSpace("dim"), Catch::Contains("dim"));
}

TEST_CASE("A conversion's digest is that of its tables, not of their name or place", "[digest]") {
    const Folder folder;
    const auto first = digestWith(folder, "a", 2);
    CHECK_FALSE(first.empty());
    CHECK(digestWith(folder, "b", 2) == first);
    CHECK(digestWith(folder, "c", 3) != first);
    const OcioSetTo set("");
    CHECK(conversionDigest("sRGB").empty());
}

TEST_CASE("A configuration that can't be read is named, not passed over") {
    const OcioSetTo set("/nowhere/config.ocio");
    CHECK_THROWS_WITH(linearWhite("sRGB"),
                      Catch::Contains("/nowhere/config.ocio") && Catch::Contains("$OCIO"));
    CHECK(Linearization("scene_linear").isNone());  // nothing to convert: nothing to read
}
