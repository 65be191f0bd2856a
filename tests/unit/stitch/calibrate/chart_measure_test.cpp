#include "stitch/calibrate/chart_measure.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "io/input_error.h"
#include "stitch/calibrate/chart_job.h"
#include "world/lens_charts.h"

using namespace plateloom;
using namespace plateloom::stitch;
using calib::Vector2d;

namespace {

const calib::Sensor kSensor{36, 20.25, 1920, 1080};

calib::Lens someLens() {
    calib::Lens lens;
    lens.focal_mm = 27.6;
    lens.distortion.radial = {1.2e-4, 0, 2e-8, 0, 0, 0};
    lens.projection_offset_mm = {-0.09, 0.05};
    return lens;
}

const world::Board kBoard{world::BoardKind::checkerboard, 12, 8, 0.05};

// Points as a detector would find them, without the pictures.
ChartTask task(const std::vector<world::BoardPose>& poses, double noise_px = 0.03) {
    ChartTask out;
    out.setting.focus_m = 2.0;
    out.sensor = kSensor;
    out.board.kind = BoardKind::checker;
    out.board.columns = 11;
    out.board.rows = 7;
    out.board.pitch_mm = 50;
    std::mt19937 random(3);
    std::normal_distribution<double> noise(0, noise_px);
    for (const auto& pose : poses) {
        FoundBoard found;
        found.columns = 11;
        found.rows = 7;
        found.edge_px = 2 + 0.1 * noise(random);
        const auto points =
            world::recordedPoints(kBoard, pose, calib::LensMap(someLens(), kSensor));
        for (size_t i = 0; i < points.size(); ++i) {
            found.point.push_back(int(i));
            found.px.push_back(*points[i] + Vector2d(noise(random), noise(random)));
        }
        out.pictures.push_back({"chart." + std::to_string(out.pictures.size()) + ".exr", found});
    }
    return out;
}

std::vector<world::BoardPose> spread(int count) {
    return world::spreadPoses(kBoard, calib::LensMap(someLens(), kSensor), count, 5);
}

}  // namespace

TEST_CASE("a measured lens comes with its figures", "[calibrate][chart]") {
    const auto lens = measureLens(task(spread(10)));
    CHECK(lens.lens.focal_mm == Approx(27.6).epsilon(5e-4));
    CHECK(lens.rms_px == Approx(0.03 * std::sqrt(2.0)).epsilon(0.15));
    CHECK(lens.held_out_rms_px >= lens.rms_px);
    CHECK(lens.lens.focus_m == 2.0);
    CHECK(lens.recorded.worst_px > 1);
    CHECK(lens.flat.worst_px < 0.25);
    int cells = 0;
    for (const int points : lens.support.points) cells += points;
    CHECK(cells == 10 * 77);
    for (const auto& picture : lens.pictures) {
        CHECK(picture.used);
        CHECK(picture.points.size() == 77);
        CHECK(picture.tilt_deg < 60);
    }
    // A barrel, growing from the centre out.
    CHECK(lens.distortion.back().share() < -0.02);
    CHECK(lens.distortion[10].share() > lens.distortion[30].share());
}

TEST_CASE("a board that moved, a blurred picture and a stray point are found and named",
          "[calibrate][chart]") {
    auto shots = task(spread(12));
    // The board was jerked while a rolling shutter read the frame: a shear of half a per cent.
    for (auto& px : shots.pictures[3].board->px) px.x() += 0.01 * (px.y() - 540);
    shots.pictures[7].board->edge_px = 6;
    shots.pictures[5].board->px[20] += Vector2d(2, -1.5);
    const auto lens = measureLens(shots);
    for (size_t p = 0; p < lens.pictures.size(); ++p) {
        INFO(p << " " << lens.pictures[p].why_not);
        CHECK(lens.pictures[p].used == (p != 3 && p != 7));
    }
    CHECK(lens.pictures[3].why_not.find("board moved") != std::string::npos);
    CHECK(lens.pictures[7].why_not.find("blurred") != std::string::npos);
    CHECK(!lens.pictures[5].points[20].used);
    CHECK(lens.lens.focal_mm == Approx(27.6).epsilon(5e-4));
}

TEST_CASE("both directions are solved from the points and agree", "[calibrate][chart]") {
    auto shots = task(spread(10));
    const auto closed = measureLens(shots);
    shots.direction = calib::DistortionDirection::flat_to_recorded;
    const auto reverse = measureLens(shots);
    CHECK(reverse.lens.distortion.direction == calib::DistortionDirection::flat_to_recorded);
    CHECK(reverse.rms_px < 1.05 * closed.rms_px);
    const calib::LensMap a(closed.lens, kSensor), b(reverse.lens, kSensor);
    for (const double x : {200.0, 960.0, 1700.0})
        for (const double y : {150.0, 540.0, 930.0}) {
            const auto px = b.recordedFromRay(*a.rayFromRecorded({x, y}));
            REQUIRE(px);
            CHECK((*px - Vector2d(x, y)).norm() < 0.35);
        }
}

TEST_CASE("too few pictures, and pictures at one angle, are refused", "[calibrate][chart]") {
    auto few = spread(2);
    CHECK_THROWS_AS(measureLens(task(few)), io::InputError);
    const calib::LensMap map(someLens(), kSensor);
    std::vector<world::BoardPose> square_on;
    for (int i = 0; i < 6; ++i)
        square_on.push_back(
            world::boardPose(map, 0.2 * (i % 3 - 1), 0.2 * (i / 3), 1.1 + 0.05 * i, 0, 0, 0));
    CHECK_THROWS_WITH(measureLens(task(square_on)), Catch::Contains("angle"));
}

TEST_CASE("a model that is said is taken, and a table's lenses have no fractions",
          "[calibrate][chart]") {
    auto shots = task(spread(10));
    shots.polynomial = true;
    const auto chosen = measureLens(shots);
    for (const auto& one : chosen.tried) CHECK(one.model.below == 0);
    shots.model = chosen.model;
    shots.model->above = 3;
    shots.model->centre = calib::CentreTerms::tangential;
    const auto said = measureLens(shots);
    CHECK(said.model == *shots.model);
    CHECK(said.lens.focal_mm == Approx(chosen.lens.focal_mm).epsilon(5e-4));
    CHECK(said.held_out_rms_px == Approx(chosen.held_out_rms_px).epsilon(0.03));
    CHECK(said.focal_sigma_mm > 0);
}
