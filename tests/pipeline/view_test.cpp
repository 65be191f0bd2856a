// The compositor's day on a rendered world: what the shot's camera recorded against the view out of
// the panorama, focus pull, wide and tight.
#include <catch2/catch.hpp>

#include "io/panorama_file.h"
#include "tests/program.h"
#include "world/hero_shot.h"
#include "world/truth.h"
#include "world/view_truth.h"

using namespace plateloom;
namespace fs = std::filesystem;

namespace {

io::Picture readFrame(const fs::path& path) {
    const io::PlatePixels pixels = io::readPlatePixels(io::readPlateHeader(path));
    io::Picture out(pixels.width, pixels.height, 4);
    for (int y = 0; y < pixels.height; ++y)
        for (int x = 0; x < pixels.width; ++x) pixels.read(x, y, out.at(x, y));
    return out;
}

world::HeroSettings heroOf() {
    world::HeroSettings hero;
    hero.frames = 1;
    hero.width_px = 480;
    hero.height_px = 270;
    hero.focal_mm = 32;
    hero.samples = 3;
    hero.from = {24, 2, -0.8};  // towards walls that tell a shift
    return hero;
}

}  // namespace

TEST_CASE("Views out of the true panorama lie where the shot's camera recorded the world") {
    const test::Folder folder;
    const auto hero = heroOf();
    world::writeHeroShot(folder / "hero", hero, 1, calib::Matrix3d::Identity());
    // About as fine as the frames: 480 pixels over 59 degrees.
    constexpr int kWidth = 3072;
    world::Scene scene(hero.scene);
    auto truth = world::truePanorama(scene, kWidth, calib::Matrix3d::Identity());
    io::Picture rgba(truth.width, truth.height, 4, 1.0f);
    for (int y = 0; y < truth.height; ++y)
        for (int x = 0; x < truth.width; ++x) std::copy_n(truth.at(x, y), 3, rgba.at(x, y));
    io::PictureTags tags;
    tags.latlong = true;
    io::PanoramaWriter writer(folder / "world.exr", {kWidth, kWidth / 2, 3072, true, true}, tags);
    writer.write(0, 0, rgba);
    writer.finish();

    const auto made = test::run("view " + test::quoted(folder / "world.exr") + " --camera " +
                                test::quoted(folder / "hero" / "hero.jsonl") + " -o " +
                                test::quoted(folder / "bg.####.exr"));
    INFO(made.err);
    REQUIRE(made.status == 0);
    for (const char* number : {"1001"}) {
        const auto errors = world::compareView(
            readFrame(folder / ("bg." + std::string(number) + ".exr")),
            readFrame(folder / "hero" / ("hero." + std::string(number) + ".exr")), {.across = 16});
        CAPTURE(number, errors.patches.size(), errors.rms_px);
        CHECK(errors.covered == 1);
        REQUIRE(errors.patches.size() > 40);
        // Of so small a frame a zone has some eight patches, each known to a few hundredths.
        const auto zones = world::zonesOf(errors.patches, 480, 270);
        REQUIRE(zones.size() > 8);
        CHECK(world::largestZone_px(zones) < 0.04);
        CHECK(errors.rms_px < 0.03);
        CHECK(errors.median_area_light < 0.01);
    }
    // The timecode came along.
    const auto recorded = io::readPlateHeader(folder / "hero" / "hero.1001.exr");
    const auto view = io::readPlateHeader(folder / "bg.1001.exr");
    CHECK(view.timecode_word == recorded.timecode_word);
    CHECK(view.frame_rate == recorded.frame_rate);
}
