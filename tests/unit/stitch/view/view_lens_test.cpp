#include "stitch/view/view_lens.h"

#include <catch2/catch.hpp>

#include "io/input_error.h"

using namespace plateloom;
using namespace plateloom::stitch;
using Catch::Contains;

namespace {

// A 35 mm lens that bends more as it is focused nearer, and shades at every setting alike.
TableInUse table() {
    calib::LensTable table;
    table.sensor = {36, 20.25, 3840, 2160};
    for (const double focus_m : {1.0, 4.0}) {
        calib::MeasuredLens at;
        at.setting.focus_m = focus_m;
        at.lens.focal_mm = 35 + 1 / focus_m;
        at.lens.distortion.radial[0] = 1e-4 / focus_m;
        at.lens.shading.a1 = 3e-4;
        at.geometry = at.shading = true;
        table.measured.push_back(at);
    }
    calib::LensLookup lookup(table);
    return {"LENS.json", table, lookup};
}

io::ShotCamera cameraAt(std::optional<double> focus_m) {
    io::ShotCamera camera;
    io::ShotFrame frame;
    frame.number = 1001;
    frame.where = "shot.csv:2";
    frame.sample.pose = calib::PanTiltRoll{};
    frame.sample.lens.focus_m = focus_m;
    camera.frames.push_back(frame);
    return camera;
}

}  // namespace

TEST_CASE("A shot's frame has the table's lens at the focus that its track tells", "[view]") {
    for (const double focus_m : {1.0, 2.0, 4.0}) {
        auto camera = cameraAt(focus_m);
        addMeasuredLens(table(), {}, camera);
        const io::LensSample& sample = camera.frames.front().sample;
        const calib::Lens expected = calib::lensAt(table().table, {focus_m, {}, {}}).lens;
        CHECK(sample.lens.focal_mm == Approx(expected.focal_mm).epsilon(1e-12));
        CHECK(sample.lens.distortion.radial[0] ==
              Approx(expected.distortion.radial[0]).epsilon(1e-12));
        CHECK(sample.lens.shading.a1 == Approx(3e-4));
        CHECK((sample.has_focal && sample.has_distortion && sample.has_shading));
        CHECK(sample.sensor_width_mm == 36.0);
    }
}

TEST_CASE("What the track says of its lens itself comes before the table", "[view]") {
    auto camera = cameraAt(2.0);
    auto& sample = camera.frames.front().sample;
    sample.lens.focal_mm = 36;
    sample.lens.distortion.radial[0] = 5e-5;
    sample.has_focal = sample.has_distortion = true;
    addMeasuredLens(table(), {}, camera);
    CHECK(sample.lens.focal_mm == 36);
    CHECK(sample.lens.distortion.radial[0] == 5e-5);
    CHECK(sample.lens.shading.a1 == Approx(3e-4));
}

TEST_CASE("A ring that the shot's track leaves out is asked for, a setting beyond is warned of",
          "[view]") {
    auto camera = cameraAt({});
    CHECK_THROWS_WITH(addMeasuredLens(table(), {}, camera),
                      Contains("shot.csv:2") && Contains("focus distance") &&
                          Contains("LENS.json") && Contains("--camera"));
    auto beyond = cameraAt(0.5);
    addMeasuredLens(table(), {}, beyond);
    CHECK_FALSE(beyond.warnings.empty());
}
