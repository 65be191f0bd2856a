#include "stitch/flatten/flatten.h"

#include <catch2/catch.hpp>
#include <cmath>

#include "tests/painted_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;
using namespace plateloom::painted;

namespace {

double pattern(const Vector3d& d) {
    return 0.6 + 0.2 * std::sin(20 * d.x()) + 0.2 * std::sin(17 * d.z());
}

struct Flattened {
    Job job;
    FlatPlate flat;
    bool clamped = false;

    Flattened(const calib::Lens& lens, Fit fit) {
        job.add({0, 0, 0}, lens, kSensor, pattern);
        flat = flattenPlate(job.pixels[0], job.plates[0].lens, fit, &clamped);
    }
    [[nodiscard]] const calib::LensMap& lens() const { return job.plates[0].lens; }
};

calib::Lens barrel() {
    calib::Lens lens = bendingLens();
    lens.projection_offset_mm = {0.3, -0.2};
    lens.distortion_offset_mm = {-0.1, 0.15};
    return lens;
}

calib::Lens pincushion() {
    calib::Lens lens = bendingLens();
    lens.distortion.direction = calib::DistortionDirection::flat_to_recorded;
    return lens;
}

}  // namespace

TEST_CASE("A flat pixel holds the light of its pinhole ray, shading gone") {
    for (const auto& lens : {barrel(), pincushion()})
        for (const Fit fit : {Fit::overscan, Fit::inside}) {
            const Flattened f(lens, fit);
            double worst = 0;
            size_t compared = 0;
            for (int y = 0; y < f.flat.picture.height; ++y)
                for (int x = 0; x < f.flat.picture.width; ++x) {
                    const Vector2d px(x + f.flat.window.x + 0.5, y + f.flat.window.y + 0.5);
                    const auto ray = f.lens().rayFromFlat(px);
                    const auto recorded = f.lens().recordedFromRay(ray);
                    const bool there = recorded && f.lens().inPicture(*recorded);
                    const float* rgba = f.flat.picture.at(x, y);
                    REQUIRE(rgba[3] == (there ? 1 : 0));
                    if (!there || recorded->x() < 5 || recorded->y() < 5 ||
                        recorded->x() > kSensor.width_px - 5 ||
                        recorded->y() > kSensor.height_px - 5)
                        continue;
                    worst = std::max(worst, std::abs(double(rgba[0]) / pattern(ray) - 1));
                    ++compared;
                }
            CHECK(compared > 40000);
            CHECK(worst < 0.002);
        }
}

TEST_CASE("Overscan holds every recorded position, and not a column more than it needs") {
    for (const auto& lens : {barrel(), pincushion()}) {
        const Flattened f(lens, Fit::overscan);
        const auto& window = f.flat.window;
        const int right = window.x + f.flat.picture.width,
                  bottom = window.y + f.flat.picture.height;
        double reach_x = 0, reach_y = 0;
        for (int i = 0; i <= 720; ++i)
            for (const auto& px : {Vector2d(i * kSensor.width_px / 720.0, 0),
                                   Vector2d(i * kSensor.width_px / 720.0, 180),
                                   Vector2d(0, i / 4.0), Vector2d(kSensor.width_px, i / 4.0)}) {
                const auto flat = f.lens().flatFromRay(*f.lens().rayFromRecorded(px));
                REQUIRE(flat);
                CHECK(flat->x() > window.x - 1e-5);
                CHECK(flat->x() < right + 1e-5);
                CHECK(flat->y() > window.y - 1e-5);
                CHECK(flat->y() < bottom + 1e-5);
                reach_x = std::max(reach_x, flat->x());
                reach_y = std::max(reach_y, flat->y());
            }
        CHECK(right <= std::max(kSensor.width_px, int(std::ceil(reach_x - 1e-5))));
        CHECK(bottom <= std::max(kSensor.height_px, int(std::ceil(reach_y - 1e-5))));
        CHECK(window.x <= 0);
        CHECK(window.display_width == kSensor.width_px);
        CHECK_FALSE(f.clamped);
    }
}

TEST_CASE("Fitted inside, the data window is the display window") {
    const Flattened f(barrel(), Fit::inside);
    CHECK(f.flat.window.x == 0);
    CHECK(f.flat.window.y == 0);
    CHECK(f.flat.picture.width == kSensor.width_px);
    CHECK(f.flat.picture.height == kSensor.height_px);
}

TEST_CASE("Without a lens's bend and shade the plate comes back as it was") {
    calib::Lens plain;
    plain.focal_mm = 28;
    const Flattened f(plain, Fit::overscan);
    REQUIRE(f.flat.picture.width == kSensor.width_px);
    REQUIRE(f.flat.picture.height == kSensor.height_px);
    double worst = 0;
    for (size_t i = 0; i < f.flat.picture.data.size(); ++i)
        worst = std::max(
            worst, std::abs(double(f.flat.picture.data[i]) - double(f.job.pixels[0].full[i])));
    CHECK(worst < 2e-6);
}

TEST_CASE("Overscan stops at twice the frame and says so") {
    calib::Lens lens = bendingLens();
    lens.focal_mm = 4;
    lens.distortion.radial = {2e-2, 0, 0, 0, 0, 0};  // corners land far out
    const Flattened f(lens, Fit::overscan);
    CHECK(f.clamped);
    CHECK(f.flat.picture.width <= 5 * kSensor.width_px);
    CHECK(f.flat.window.x == -2 * kSensor.width_px);
}
