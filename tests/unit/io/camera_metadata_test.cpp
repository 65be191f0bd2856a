#include <OpenImageIO/imageio.h>

#include <catch2/catch.hpp>
#include <cmath>

#include "calib/focus.h"
#include "io/plate_file.h"
#include "tests/program.h"
#include "tests/unit/io/raw_exr.h"

using namespace plateloom::io;
using namespace plateloom::raw_exr;
using plateloom::test::Folder;

namespace {

constexpr double kFloat = 1e-6;  // EXR attributes are float

PlateFile headerOf(const std::vector<Bytes>& attributes) {
    const Folder folder;
    Part part;
    for (const char* name : {"R", "G", "B"}) {
        part.channels.push_back({name, SampleType::half, [](int, int) { return 0u; }, 1});
    }
    part.attributes = attributes;
    write(folder / "A001C002.1001.exr", {part});
    return readPlateHeader(folder / "A001C002.1001.exr");
}

Bytes number(const char* name, float value) {
    return attribute(name, "float", bytesOf(value));
}

PlateFile jpegHeader(const std::vector<std::pair<const char*, float>>& numbers,
                     const std::vector<std::pair<const char*, int>>& integers, int width = 300,
                     int height = 200) {
    const Folder folder;
    OIIO::ImageSpec spec(width, height, 3, OIIO::TypeUInt8);
    for (const auto& [name, value] : numbers) spec.attribute(name, value);
    for (const auto& [name, value] : integers) spec.attribute(name, value);
    spec.attribute("Make", "Oak ");
    spec.attribute("Model", "Plane 1");
    spec.attribute("Exif:LensModel", "Vista 24-70");
    auto out = OIIO::ImageOutput::create("jpeg");
    const std::string path = (folder / "IMG_7.jpg").string();
    REQUIRE(out->open(path, spec));
    const std::vector<uint8_t> grey(size_t(width) * size_t(height) * 3, 100);
    REQUIRE(out->write_image(OIIO::TypeUInt8, grey.data()));
    REQUIRE(out->close());
    return readPlateHeader(path);
}

}  // namespace

TEST_CASE("An EXR's own attributes say lens, exposure, timecode, rate and reel") {
    const PlateFile file = headerOf(
        {number("focus", 3.5f), number("aperture", 2.8f), number("isoSpeed", 800.0f),
         number("expTime", 0.02f), number("tStop", 2.9f), number("nominalFocalLength", 35.0f),
         number("effectiveFocalLength", 34.2f), number("shutterAngle", 172.8f),
         attribute("timeCode", "timecode", bytesOf(uint32_t(0x01020304), uint32_t(0xabcdef01))),
         attribute("framesPerSecond", "rational", bytesOf(int32_t(24000), uint32_t(1001))),
         attribute("reelName", "string", "A001"), attribute("cameraMake", "string", "Oak"),
         attribute("cameraModel", "string", "Plane 1"),
         attribute("lensModel", "string", "Vista 35"),
         attribute("sensorOverallDimensions", "v2f", bytesOf(36.0f, 20.25f)),
         attribute("chromaticities", "chromaticities",
                   bytesOf(0.713f, 0.293f, 0.165f, 0.83f, 0.128f, 0.044f, 0.32168f, 0.33767f))});
    CHECK(*file.focus_m == Approx(3.5).epsilon(kFloat));
    CHECK(*file.f_stop == Approx(2.8).epsilon(kFloat));
    CHECK(*file.t_stop == Approx(2.9).epsilon(kFloat));
    CHECK(*file.iso == 800);
    CHECK(*file.shutter_s == Approx(0.02).epsilon(kFloat));
    CHECK(*file.shutter_deg == Approx(172.8).epsilon(kFloat));
    CHECK(*file.focal_mm == Approx(34.2).epsilon(kFloat));  // what it was, not what it is called
    CHECK(*file.sensor_width_mm == 36);
    CHECK(*file.timecode_word == 0x01020304u);
    CHECK(*file.timecode_user == 0xabcdef01u);
    CHECK(*file.frame_rate == FrameRate{24000, 1001});
    CHECK(file.clip == "A001");
    CHECK(file.camera == "Oak Plane 1 Vista 35");
    REQUIRE(file.chromaticities);
    CHECK(file.chromaticities->at(3) == 0.83f);
    CHECK(file.chromaticities->at(7) == 0.33767f);
}

TEST_CASE("The recorded part of the sensor comes before the whole of it") {
    const Bytes whole = attribute("sensorOverallDimensions", "v2f", bytesOf(36.0f, 24.0f));
    const Bytes recorded =
        attribute("sensorAcquisitionRectangle", "box2i", bytesOf(100, 50, 100 + 4095, 50 + 2159));
    CHECK(*headerOf({whole, number("sensorPhotositePitch", 6.0f), recorded}).sensor_width_mm ==
          Approx(4096 * 0.006).epsilon(kFloat));
    CHECK(*headerOf({whole, number("sensorPhotositePitch", 6000.0f)}).sensor_width_mm ==
          Approx(4 * 6.0).epsilon(kFloat));  // the picture is 4 pixels wide
}

TEST_CASE("What an EXR does not say stays unsaid; what can't be true is not taken") {
    const PlateFile silent = headerOf({});
    CHECK_FALSE((silent.focal_mm || silent.focus_m || silent.f_stop || silent.t_stop ||
                 silent.iso || silent.shutter_s || silent.shutter_deg || silent.sensor_width_mm ||
                 silent.timecode_word || silent.frame_rate || silent.chromaticities));
    CHECK(silent.camera.empty());
    CHECK(silent.clip == "A001C002.1001");
    const PlateFile wrong =
        headerOf({number("focus", -1.0f), number("aperture", 0.0f), number("isoSpeed", NAN),
                  number("nominalFocalLength", INFINITY),
                  attribute("framesPerSecond", "rational", bytesOf(int32_t(24), uint32_t(0))),
                  attribute("captureRate", "rational", bytesOf(int32_t(2000000000), uint32_t(1))),
                  attribute("timeCode", "timecode", bytesOf(~uint32_t(0), ~uint32_t(0))),
                  attribute("sensorOverallDimensions", "v2f", bytesOf(0.036f, 0.024f))});  // metres
    CHECK_FALSE((wrong.focus_m || wrong.f_stop || wrong.iso || wrong.focal_mm || wrong.frame_rate ||
                 wrong.timecode_word || wrong.sensor_width_mm));
}

TEST_CASE("EXIF says lens, exposure and camera") {
    const PlateFile file =
        jpegHeader({{"Exif:FocalLength", 24.0f}, {"FNumber", 8.0f}, {"ExposureTime", 0.004f}},
                   {{"Exif:FocalLengthIn35mmFilm", 36}, {"Exif:PhotographicSensitivity", 200}});
    constexpr double kRational = 1e-4;
    CHECK(*file.focal_mm == Approx(24).epsilon(kRational));
    CHECK(*file.focal_35mm_equivalent == 36);
    CHECK(*file.f_stop == Approx(8).epsilon(kRational));
    CHECK(*file.shutter_s == Approx(0.004).epsilon(kRational));
    CHECK(*file.iso == 200);
    CHECK(file.camera == "Oak Plane 1 Vista 24-70");
    CHECK(file.clip == "IMG_7");
    CHECK_FALSE(file.sensor_width_mm);
}

TEST_CASE("EXIF's APEX values are powers of 2; those beyond any number are not taken") {
    const PlateFile file =
        jpegHeader({{"Exif:ApertureValue", 6.0f}, {"Exif:ShutterSpeedValue", -2.0f}}, {});
    CHECK(*file.f_stop == Approx(8).epsilon(1e-4));
    CHECK(*file.shutter_s == Approx(4).epsilon(1e-4));
    const PlateFile endless =
        jpegHeader({{"Exif:ApertureValue", 1e6f}, {"Exif:ShutterSpeedValue", -1e6f}}, {});
    CHECK_FALSE((endless.f_stop || endless.shutter_s));
}

TEST_CASE("EXIF's photosites in a unit of length give the sensor, also for a smaller copy") {
    // 6000 photosites over 36 mm.
    const float per_cm = 6000 / 3.6f, per_inch = 6000 / 36.0f * 25.4f;
    constexpr double kRational = 1e-3;
    const PlateFile copy =
        jpegHeader({{"Exif:FocalPlaneXResolution", per_cm}, {"Exif:FocalPlaneYResolution", per_cm}},
                   {{"Exif:FocalPlaneResolutionUnit", 3},
                    {"Exif:PixelXDimension", 6000},
                    {"Exif:PixelYDimension", 4000}});
    CHECK(*copy.sensor_width_mm == Approx(36).epsilon(kRational));
    const PlateFile full = jpegHeader(
        {{"Exif:FocalPlaneXResolution", per_inch}, {"Exif:FocalPlaneYResolution", per_inch}},
        {{"Exif:FocalPlaneResolutionUnit", 2}}, 6000, 40);
    CHECK(*full.sensor_width_mm == Approx(36).epsilon(kRational));
    const PlateFile turned =
        jpegHeader({{"Exif:FocalPlaneXResolution", per_cm}, {"Exif:FocalPlaneYResolution", per_cm}},
                   {{"Exif:FocalPlaneResolutionUnit", 3},
                    {"Exif:PixelXDimension", 6000},
                    {"Exif:PixelYDimension", 4000},
                    {"Orientation", 6}});
    CHECK(turned.width == 200);
    CHECK(*turned.sensor_width_mm == Approx(24).epsilon(kRational));
}

namespace {

PlateFile dpxHeader(float frame_rate) {
    const Folder folder;
    const std::string path = (folder / "a.dpx").string();
    OIIO::ImageSpec spec(4, 2, 3, OIIO::TypeUInt16);
    spec.attribute("oiio:BitsPerSample", 10);
    spec.attribute("dpx:Transfer", "Linear");
    const uint32_t words[2] = {0x01020304u, 0};
    spec.attribute("smpte:TimeCode", OIIO::TypeTimeCode, words);
    spec.attribute("dpx:FrameRate", frame_rate);
    spec.attribute("dpx:ShutterAngle", 172.8f);
    spec.attribute("dpx:SlateInfo", "12A take 3");
    auto out = OIIO::ImageOutput::create("dpx");
    REQUIRE(out->open(path, spec));
    const std::vector<uint16_t> grey(24, 30000);
    REQUIRE(out->write_image(OIIO::TypeUInt16, grey.data()));
    REQUIRE(out->close());
    return readPlateHeader(path);
}

}  // namespace

TEST_CASE("A DPX says timecode, frame rate, shutter and slate") {
    const PlateFile file = dpxHeader(23.976f);
    CHECK(*file.timecode_word == 0x01020304u);
    CHECK(*file.frame_rate == FrameRate{24000, 1001});
    // Rates that are none: near 0 there would be no frame in a second.
    for (const float rate : {0.0f, 1e-4f, 1e9f}) CHECK_FALSE(dpxHeader(rate).frame_rate);
    CHECK(*file.shutter_deg == Approx(172.8).epsilon(kFloat));
    CHECK(file.clip == "12A take 3");
}

TEST_CASE("A lens that is focused at infinity is, not unsaid") {
    const PlateFile file = headerOf({number("focus", INFINITY)});
    REQUIRE(file.focus_m);
    CHECK(plateloom::calib::isAtInfinity(*file.focus_m));
    CHECK(std::isfinite(*file.focus_m));
    CHECK(plateloom::calib::focusInWords(*file.focus_m) == "infinity");
    CHECK_FALSE(headerOf({number("focus", NAN)}).focus_m);
}
