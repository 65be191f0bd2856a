#include "stitch/calibrate/chart_axis.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "world/lens_charts.h"

using namespace plateloom;
using namespace plateloom::stitch;
using calib::Vector2d;

namespace {

const calib::Sensor kSensor{36, 20.25, 1920, 1080};
const world::Board kBoard{world::BoardKind::checkerboard, 12, 8, 0.05};
const Vector2d kAxis_mm(-0.09, 0.05);

// Points as a detector would find them, at one focus setting of a lens that breathes.
ChartTask taskAt(double focus_m, const Vector2d& axis_mm, unsigned seed) {
    calib::Lens lens;
    lens.focal_mm = 27.6 + 0.6 / focus_m;
    lens.distortion.radial = {1.2e-4 * (1 - 0.15 / focus_m), 0, 2e-8, 0, 0, 0};
    lens.projection_offset_mm = axis_mm;
    const calib::LensMap map(lens, kSensor);
    ChartTask out;
    out.setting = {focus_m, std::nullopt, 28.0};
    out.sensor = kSensor;
    out.board.kind = BoardKind::checker;
    out.board.columns = 11;
    out.board.rows = 7;
    out.board.pitch_mm = 50;
    calib::ChartModel model;
    model.above = 2;
    model.centre = calib::CentreTerms::tangential;
    out.model = model;
    std::mt19937 random(seed);
    std::normal_distribution<double> noise(0, 0.03);
    for (const auto& pose : world::spreadPoses(kBoard, map, 8, seed)) {
        FoundBoard found;
        found.columns = 11;
        found.rows = 7;
        found.edge_px = 2;
        const auto points = world::recordedPoints(kBoard, pose, map);
        for (size_t i = 0; i < points.size(); ++i) {
            found.point.push_back(int(i));
            found.px.push_back(*points[i] + Vector2d(noise(random), noise(random)));
        }
        out.pictures.push_back({"chart." + std::to_string(out.pictures.size()) + ".exr", found});
    }
    return out;
}

struct Day {
    std::vector<ChartTask> tasks;
    std::vector<ChartMeasurement> lenses;
    std::vector<std::string> lines;

    // The axis moves off `kAxis_mm` by `per_dioptre_mm` a dioptre, and by `jump_mm` there and back.
    Day(const Vector2d& per_dioptre_mm, const Vector2d& jump_mm) {
        unsigned seed = 11;
        for (const double focus_m : {1.0, 1.5, 3.0, 10.0}) {
            const double side = seed % 2 ? 1 : -1;
            tasks.push_back(
                taskAt(focus_m, kAxis_mm + per_dioptre_mm / focus_m + side * jump_mm, seed++));
            lenses.push_back(measureLens(tasks.back()));
        }
        before = lenses;
        lines = shareAxis(tasks, &lenses);
    }
    std::vector<ChartMeasurement> before;
};

}  // namespace

TEST_CASE("Settings that agree about the axis share one, better known than any one's own",
          "[calibrate][chart]") {
    const Day day({0, 0}, {0, 0});
    REQUIRE(day.lines.size() == 1);
    CHECK_THAT(day.lines[0], Catch::StartsWith("one optical axis for 4 focus settings, one sigma"));
    const Vector2d common = day.lenses[0].lens.projection_offset_mm;
    for (size_t i = 0; i < day.lenses.size(); ++i) {
        const auto &lens = day.lenses[i], &own = day.before[i];
        CHECK(lens.lens.projection_offset_mm == common);
        CHECK(lens.axis_sigma_mm.x() < own.axis_sigma_mm.x());
        CHECK(lens.tangential_sigma == own.tangential_sigma);
        CHECK(own.tangential_sigma.minCoeff() > 0);
        // The rest has settled round it.
        CHECK(lens.rms_px == Approx(own.rms_px).epsilon(0.01));
    }
    const Vector2d off = common - kAxis_mm;
    CHECK(off.cwiseQuotient(day.lenses[0].axis_sigma_mm).norm() < 4);
}

TEST_CASE("An axis that goes with focus is shared as a line", "[calibrate][chart]") {
    const Day day({0.04, -0.03}, {0, 0});
    REQUIRE(day.lines.size() == 1);
    CHECK_THAT(day.lines[0], Catch::Contains("going evenly with 1 / distance"));
    for (const auto& lens : day.lenses) {
        const Vector2d truth = kAxis_mm + Vector2d(0.04, -0.03) / *lens.setting.focus_m;
        CHECK((lens.lens.projection_offset_mm - truth).cwiseQuotient(lens.axis_sigma_mm).norm() <
              4);
    }
}

TEST_CASE("An axis that jumps is left to each setting, and that is said", "[calibrate][chart]") {
    const Day day({0, 0}, {0.03, 0.02});
    REQUIRE(day.lines.size() == 1);
    CHECK_THAT(day.lines[0], Catch::Contains("each keeps its own"));
    for (size_t i = 0; i < day.lenses.size(); ++i)
        CHECK(day.lenses[i].lens.projection_offset_mm == day.before[i].lens.projection_offset_mm);
}
