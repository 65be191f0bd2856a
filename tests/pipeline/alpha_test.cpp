// Plates with alpha through the whole of it: panorama, flat plate, frame with the look put back.
#include <catch2/catch.hpp>
#include <cmath>
#include <cstring>

#include "io/picture.h"
#include "stitch/compose/compose.h"
#include "stitch/flatten/flatten.h"
#include "tests/frames_on_disk.h"
#include "tests/painted_plates.h"
#include "tests/program.h"

using namespace plateloom;
using namespace plateloom::stitch;
using namespace plateloom::painted;
using namespace plateloom::test;

namespace {

// Multiplies a painted plate by an alpha that falls from left to right.
void cover(io::PlatePixels& plate, double from, double to) {
    for (int y = 0; y < plate.height; ++y)
        for (int x = 0; x < plate.width; ++x) {
            const double alpha = from + (to - from) * (x + 0.5) / plate.width;
            float* rgba = &plate.full[(size_t(y) * plate.width + x) * 4];
            for (int c = 0; c < 4; ++c) rgba[c] *= float(alpha);
        }
}

io::Picture panoramaOf(const Job& job, const PanoramaGrid& grid) {
    io::Picture panorama(grid.width, grid.height, 4);
    PlateStore store = job.store();
    ComposeSettings settings;
    settings.grid = grid;
    const auto sink = [&](int x, int y, const io::Picture& tile) {
        for (int j = 0; j < tile.height; ++j)
            std::memcpy(panorama.at(x, y + j), tile.at(0, j),
                        size_t(tile.width) * 4 * sizeof(float));
    };
    (void)compose(job.plates, store, settings, sink, [](const std::string&, double) {});
    return panorama;
}

}  // namespace

TEST_CASE("A plate's alpha does not darken the panorama", "[alpha]") {
    Job job;
    job.add({0, 0, 0}, bendingLens(), kSensor, [](const Vector3d&) { return 0.5; });
    cover(job.pixels[0], 0.9, 0.02);
    const auto panorama = panoramaOf(job, latlong(1024));
    size_t seen = 0;
    double worst = 0;
    for (size_t i = 0; i < panorama.data.size(); i += 4) {
        if (panorama.data[i + 3] == 0) continue;
        ++seen;
        REQUIRE(panorama.data[i + 3] == 1);
        worst = std::max(worst, std::abs(panorama.data[i] / 0.5 - 1));
    }
    CHECK(seen > 10000);
    CHECK(worst < 0.005);
}

TEST_CASE("Where one plate covers in part, the other has the more to say", "[alpha]") {
    Job job;
    job.add({0, 0, 0}, bendingLens(), kSensor, [](const Vector3d&) { return 0.5; });
    job.add({0.02, 0, 0}, bendingLens(), kSensor, [](const Vector3d&) { return 0.502; });
    cover(job.pixels[0], 0.0, 0.0);
    for (size_t i = 3; i < job.pixels[0].full.size(); i += 4) job.pixels[0].full[i] = 0.0f;
    const PanoramaGrid grid = latlong(1024);
    const auto panorama = panoramaOf(job, grid);
    CHECK(panorama.at(512, 256)[3] == 1);
    CHECK(panorama.at(512, 256)[0] == Approx(0.502).epsilon(1e-3));
}

namespace {

constexpr int kW = 640, kH = 360;

// A performer with a soft matte, associated; `c` 3 is the matte.
double performer(double x, double y, int c) {
    const double r = std::hypot((x - 300) / 1.0, (y - 170) / 1.3);
    const double matte = 1 / (1 + std::exp((r - 90) / 1.5));
    return c == 3 ? matte : matte * lightAt(x, y, c);
}

}  // namespace

TEST_CASE("A performer flattened, laid over and unflattened shows no rim at the matte's edge",
          "[alpha]") {
    const Folder folder;
    for (const char* name : {"plates", "comp"}) std::filesystem::create_directories(folder / name);
    OIIO::ImageSpec spec = rgbaSpec(kW, kH);
    spec.set_format(OIIO::TypeFloat);
    writeFrame(folder / "plates/hero.1001.exr", spec, performer);
    put(folder / "lens.csv", kTrackHead + trackLine("", 1001, 0));
    const std::string lens = " --lens " + quoted(folder / "lens.csv") + " -o ";
    const auto flattened =
        run("flatten " + quoted(folder / "plates") + lens + quoted(folder / "flat"));
    INFO(flattened.err);
    REQUIRE(flattened.status == 0);
    const auto flat = readFrame(folder / "flat/hero.1001.exr");
    // Over a flat background of one colour.
    constexpr double kBackground = 1.0;
    OIIO::ImageSpec comp = flat.spec;
    std::vector<float> over(flat.data);
    for (size_t i = 0; i < over.size(); i += 4)
        for (size_t c = 0; c < 4; ++c)
            over[i + c] += float(1 - flat.data[i + 3]) * float(c == 3 ? 1 : kBackground);
    const auto out = OIIO::ImageOutput::create((folder / "comp/hero.1001.exr").string());
    REQUIRE(out->open((folder / "comp/hero.1001.exr").string(), comp));
    REQUIRE(out->write_image(OIIO::TypeFloat, over.data()));
    REQUIRE(out->close());
    const auto back = run("unflatten " + quoted(folder / "comp") + lens + quoted(folder / "look"));
    INFO(back.err);
    REQUIRE(back.status == 0);
    const auto look = readFrame(folder / "look/hero.1001.exr");
    const calib::LensMap map(frameLens(), {36, 20.25, kW, kH});
    double worst = 0;
    for (int y = 8; y < kH - 8; ++y)
        for (int x = 8; x < kW - 8; ++x) {
            const double matte = performer(x + 0.5, y + 0.5, 3);
            if (matte < 0.01 || matte > 0.99) continue;
            const double light = map.transmission({x + 0.5, y + 0.5});
            for (int c = 0; c < 3; ++c) {
                const double truth =
                    performer(x + 0.5, y + 0.5, c) + (1 - matte) * kBackground * light;
                worst = std::max(worst, std::abs(look.at(x, y, c) - truth));
            }
        }
    INFO("worst at the edge " << worst);
    CHECK(worst < 0.012);  // of light that goes from -0.5 to 2.5 within 12 pixels
}

TEST_CASE("An 8-bit PNG's alpha is unassociated: the flat plate's is not", "[alpha]") {
    const Folder folder;
    std::filesystem::create_directories(folder / "plates");
    OIIO::ImageSpec spec(kW, kH, 4, OIIO::TypeUInt8);
    spec.attribute("oiio:UnassociatedAlpha", 1);
    std::vector<uint8_t> codes(size_t(kW) * kH * 4, 200);
    for (size_t i = 3; i < codes.size(); i += 4) codes[i] = 128;
    const auto out = OIIO::ImageOutput::create((folder / "plates/hero.1001.png").string());
    REQUIRE(out->open((folder / "plates/hero.1001.png").string(), spec));
    REQUIRE(out->write_image(OIIO::TypeUInt8, codes.data()));
    REQUIRE(out->close());
    calib::Lens plain;
    put(folder / "lens.csv", "focal_mm,sensor_width_mm\n24,36\n");
    const auto made = run("flatten " + quoted(folder / "plates") + " --lens " +
                          quoted(folder / "lens.csv") + " -o " + quoted(folder / "flat"));
    INFO(made.err);
    REQUIRE(made.status == 0);
    const auto flat = readFrame(folder / "flat/hero.1001.exr");
    const float* rgba = &flat.data[(size_t(100) * kW + 100) * 4];
    CHECK(rgba[3] == Approx(128 / 255.0).epsilon(1e-3));
    CHECK(rgba[0] / rgba[3] == Approx(0.5776).epsilon(2e-3));  // sRGB 200 / 255, IEC 61966-2-1
}

TEST_CASE("Flattened, a plate keeps its depth, mattes and layers", "[alpha]") {
    const Folder folder;
    std::filesystem::create_directories(folder / "plates");
    OIIO::ImageSpec spec(kW, kH, 6, OIIO::TypeFloat);
    spec.channelnames = {"R", "G", "B", "Z", "hero.matte", "glow.R"};
    const auto value = [](double x, double y, int c) {
        if (c == 3) return std::floor(x / 16) + 1;
        if (c == 4) return x < 300 ? 1.0 : 0.0;
        return lightAt(x, y, c % 3);
    };
    writeFrame(folder / "plates/shot.1001.exr", spec, value);
    put(folder / "lens.csv", kTrackHead + trackLine("", 1001, 0));
    const auto made = run("flatten " + quoted(folder / "plates") + " --lens " +
                          quoted(folder / "lens.csv") + " -o " + quoted(folder / "flat"));
    INFO(made.err);
    REQUIRE(made.status == 0);
    const auto flat = readFrame(folder / "flat/shot.1001.exr");
    REQUIRE(flat.spec.nchannels == 7);
    CHECK(flat.spec.full_width == kW);
    CHECK(flat.spec.width > kW);
    const int Z = flat.channel("Z"), matte = flat.channel("hero.matte"), A = flat.channel("A"),
              glow = flat.channel("glow.R");
    const calib::LensMap lens(frameLens(), {36, 20.25, kW, kH});
    double worst = 0;
    int wrong = 0, uncovered = 0;
    for (int y = flat.spec.y; y < flat.spec.y + flat.spec.height; ++y)
        for (int x = flat.spec.x; x < flat.spec.x + flat.spec.width; ++x) {
            const auto mm = lens.recordedFromFlat_mm(
                mmFromPixel(lens.sensor(), calib::Vector2d(x + 0.5, y + 0.5)));
            const auto px = mm ? pixelFromMm(lens.sensor(), *mm) : calib::Vector2d(-1, -1);
            const bool there = lens.inPicture(px);
            wrong += flat.at(x, y, A) != (there ? 1 : 0);
            uncovered += !there;
            if (!there) continue;
            const double in_x = px.x() - std::floor(px.x());
            if (std::min(in_x, 1 - in_x) > 0.01)
                wrong += flat.at(x, y, Z) != float(value(px.x(), px.y(), 3));
            const float share = flat.at(x, y, matte);
            if (!(share >= 0 && share <= 1)) FAIL("a matte of " << share);
            if (std::min({px.x(), px.y(), kW - px.x(), kH - px.y()}) < 8) continue;
            for (const int c : {flat.channel("R"), glow})
                worst = std::max(worst, std::abs(flat.at(x, y, c) * lens.transmission(px) -
                                                 lightAt(px.x(), px.y(), c == glow ? 2 : 0)));
        }
    CHECK(uncovered > 0);
    CHECK(wrong == 0);
    CHECK(worst < 0.003);
}
