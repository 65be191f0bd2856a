// Whole solves of rendered plates whose cameras are known exactly.
#include "stitch/solve/solve.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

#include "calib/pose.h"
#include "stitch/compose/light_balance.h"
#include "stitch/plates/plate_set.h"
#include "tests/program.h"
#include "world/recording.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

constexpr double kRadPerDeg = 3.14159265358979323846 / 180.0;

// A shoot on disk, rendered once for all tests: three rows and a plate of bare sky at night, on a
// square where every house has the same window.
struct RecordedShoot {
    test::Folder folder;
    world::Shoot shoot;
    PlateSet set;

    explicit RecordedShoot(const world::ShootSettings& settings, bool photographs = false)
        : shoot(world::planShoot(settings)) {
        const world::Scene scene(settings.scene);
        PlateArguments arguments;
        for (size_t p = 0; p < shoot.plates.size(); ++p) {
            const auto path = folder / shoot.plates[p].file;
            const auto picture = world::recordPlate(shoot, scene, p);
            if (photographs)
                world::writePhotograph(path, picture, shoot.plates[p], settings.sensor_width_mm);
            else
                world::writePlateExr(path, picture, shoot.plates[p], settings.rate);
            arguments.plates.push_back(path.string());
        }
        if (!photographs) {
            world::writeLensTrack(folder / "lens.jsonl", shoot, {});
            arguments.lens_tracks.push_back(folder / "lens.jsonl");
        }
        set = gatherPlates(arguments);
    }
};

const RecordedShoot& threeRows() {
    static const RecordedShoot recorded([] {
        world::ShootSettings settings;
        settings.rows = world::rowsOfGrid("three-rows");
        settings.width_px = 640;
        settings.height_px = 360;
        return settings;
    }());
    return recorded;
}

Solve solved(const PlateSet& set, int threads = 0) {
    PlateStore store(set.plates);
    SolveSettings settings;
    settings.threads = threads;
    return solvePlates(set, store, settings, nullptr);
}

// Some plates of a set, by their places in it.
PlateSet some(const PlateSet& set, const std::vector<int>& which) {
    PlateSet out;
    for (const int p : which) out.plates.push_back(set.plates[p]);
    return out;
}

// Errors after one alignment, plate pixels, of the plates that ties placed; `which` says which
// plates of the shoot they are.
std::vector<double> errors_px(const Solve& solve, const world::Shoot& shoot,
                              const std::vector<int>& which) {
    std::vector<Matrix3d> from, to;
    for (size_t i = 0; i < which.size(); ++i) {
        if (!solve.plates[i].placed || solve.plates[i].placed_by != "ties") continue;
        from.push_back(calib::worldFromCamera(solve.plates[i].pose));
        to.push_back(calib::worldFromCamera(shoot.plates[which[i]].pose));
    }
    std::vector<double> out;
    if (from.empty()) return out;
    const Matrix3d align = calib::alignOrientations(from, to);
    const double focal_px = shoot.plates[0].lens.focal_mm / shoot.sensor.mmPerPixelX();
    for (size_t i = 0; i < from.size(); ++i)
        out.push_back(calib::angleBetween_deg(align * from[i], to[i]) * kRadPerDeg * focal_px);
    return out;
}

double largest(const std::vector<double>& values) {
    return values.empty() ? 1e9 : *std::max_element(values.begin(), values.end());
}

double rootMeanSquare(const std::vector<double>& values) {
    double sum = 0;
    for (const double v : values) sum += v * v;
    return values.empty() ? 1e9 : std::sqrt(sum / double(values.size()));
}

std::vector<int> range(int first, int last) {
    std::vector<int> out;
    for (int i = first; i < last; ++i) out.push_back(i);
    return out;
}

}  // namespace

TEST_CASE("Three rows at night with repeated windows are placed to hundredths of a pixel") {
    const auto& recorded = threeRows();
    const auto solve = solved(recorded.set);
    const auto errors = errors_px(solve, recorded.shoot, range(0, 25));
    CHECK(errors.size() == 24);  // all but the sky
    CHECK(rootMeanSquare(errors) < 0.03);
    CHECK(largest(errors) < 0.10);
    CHECK(solve.groups.size() == 1);
    REQUIRE(solve.warnings.size() == 1);
    CHECK(solve.warnings[0].find("plate.1025.exr: left out") != std::string::npos);
    CHECK_FALSE(solve.plates[24].placed);
    CHECK_FALSE(solve.plates[24].why_not.empty());
    for (int p = 0; p < 24; ++p) {
        CAPTURE(p);
        CHECK(solve.plates[p].ties > 50);
        CHECK(solve.plates[p].sigma_px > 0);
        CHECK(solve.plates[p].sigma_px < 0.1);
    }
    // Shot level to half a degree: no poses were given, the horizon is found.
    for (int p = 8; p < 16; ++p)
        CHECK(std::abs(solve.plates[p].pose.tilt_deg - recorded.shoot.plates[p].pose.tilt_deg) <
              0.6);
    CHECK(solve.plates[0].pose.pan_deg == Approx(0).margin(1e-6));
}

TEST_CASE("The solve is the same for one thread and for four") {
    const auto set = some(threeRows().set, {8, 9, 10, 16, 17});
    const auto one = solved(set, 1), four = solved(set, 4);
    for (size_t p = 0; p < set.plates.size(); ++p) {
        CHECK(one.plates[p].pose.pan_deg == four.plates[p].pose.pan_deg);
        CHECK(one.plates[p].pose.tilt_deg == four.plates[p].pose.tilt_deg);
        CHECK(one.plates[p].pose.roll_deg == four.plates[p].pose.roll_deg);
        CHECK(one.plates[p].lens.focal_mm == four.plates[p].lens.focal_mm);
    }
}

TEST_CASE("A plate of bare sky is placed by its pose, and the whole is turned to the poses") {
    const auto& recorded = threeRows();
    const std::vector<int> which{16, 17, 18, 24};
    auto set = some(recorded.set, which);
    for (size_t i = 0; i < which.size(); ++i) {
        set.plates[i].pose = recorded.shoot.plates[which[i]].pose;
        set.plates[i].pose_sigma_deg = 0.5;
    }
    const auto solve = solved(set);
    REQUIRE(solve.plates[3].placed);
    CHECK(solve.plates[3].placed_by == "pose");
    CHECK(solve.plates[3].sigma_px > 1);
    for (size_t i = 0; i < which.size(); ++i) {
        CHECK(solve.plates[i].placed);
        CHECK(calib::angleBetween_deg(
                  calib::worldFromCamera(solve.plates[i].pose),
                  calib::worldFromCamera(recorded.shoot.plates[which[i]].pose)) < 0.02);
    }
    REQUIRE(solve.warnings.size() == 1);
    CHECK(solve.warnings[0].find("placed by its pose") != std::string::npos);
}

TEST_CASE("Of two groups that nothing ties the larger is placed and the other is named") {
    const auto& recorded = threeRows();
    const std::vector<int> which{8, 9, 10, 13, 14};
    const auto solve = solved(some(recorded.set, which));
    REQUIRE(solve.groups.size() == 2);
    CHECK(solve.groups[0] == std::vector<int>{0, 1, 2});
    CHECK(solve.groups[1] == std::vector<int>{3, 4});
    for (int p = 0; p < 3; ++p) CHECK(solve.plates[p].placed);
    for (int p = 3; p < 5; ++p) {
        CHECK_FALSE(solve.plates[p].placed);
        CHECK(solve.plates[p].why_not.find("group of 2: plate.1014.exr, plate.1015.exr") !=
              std::string::npos);
    }
}

TEST_CASE("One plate alone looks to pan 0") {
    const auto solve = solved(some(threeRows().set, {9}));
    CHECK(solve.plates[0].placed);
    CHECK(solve.plates[0].pose.pan_deg == Approx(0).margin(1e-9));
    CHECK(solve.plates[0].pose.tilt_deg == Approx(0).margin(1e-9));
    CHECK(solve.warnings.empty());
}

TEST_CASE("Hand-held photographs with nothing but EXIF hang together") {
    auto settings = world::photographSettings({.seed = 5}, 5);
    settings.width_px = 900;
    settings.height_px = 600;
    const RecordedShoot recorded(settings, true);
    const auto solve = solved(recorded.set);
    const auto errors = errors_px(solve, recorded.shoot, range(0, 8));
    CHECK(errors.size() == 8);
    // Parallax of a few centimetres bends the arc by a thousandth or two: that is what there is.
    CHECK(largest(errors) < 12);
    const auto& lens = solve.plates[0].lens;
    CHECK(lens.focal_mm / solve.plates[0].sensor.mmPerPixelX() ==
          Approx(recorded.shoot.plates[0].lens.focal_mm / recorded.shoot.sensor.mmPerPixelX())
              .epsilon(0.015));
    CHECK(lens.distortion.radial[0] > 0);  // a barrel, found from the overlaps
}

TEST_CASE("Without any lens data the overlaps tell the lens, its breathing and its shading") {
    const auto& recorded = threeRows();  // focus and iris move from plate to plate
    PlateArguments arguments;
    for (const auto& plate : recorded.set.plates)
        arguments.plates.push_back(plate.file.path.string());
    arguments.sensor_width_mm = 36;
    const PlateSet set = gatherPlates(arguments);
    PlateStore store(set.plates);
    Solve solve = solvePlates(set, store, {}, nullptr);
    const auto errors = errors_px(solve, recorded.shoot, range(0, 25));
    CHECK(errors.size() == 24);
    CHECK(rootMeanSquare(errors) < 0.1);
    REQUIRE(solve.notes.size() == 1);
    CHECK_THAT(solve.notes[0], Catch::Contains("24 plates found from the overlaps"));

    const auto told = balanceLight(set.plates, store, solve.plates);
    CHECK(told.warnings.empty());
    const double half = recorded.shoot.sensor.halfDiagonal_mm();
    for (size_t p = 0; p < 24; ++p) {
        CAPTURE(p);
        const auto& truth = recorded.shoot.plates[p].lens;
        const auto& found = solve.plates[p].lens;
        CHECK(found.focal_mm == Approx(truth.focal_mm).epsilon(0.001));
        // What two opposite corners are apart, in pixels: a turn of the camera has no part in it.
        const calib::LensMap through(found, recorded.shoot.sensor),
            true_lens(truth, recorded.shoot.sensor);
        const auto across_px = [&](const calib::LensMap& lens, bool falling) {
            const auto a = lens.rayFromRecorded({0.5, falling ? 0.5 : 359.5});
            const auto b = lens.rayFromRecorded({639.5, falling ? 359.5 : 0.5});
            return std::acos(a->dot(*b)) * true_lens.focal_px();
        };
        for (const bool falling : {true, false})
            CHECK(std::abs(across_px(through, falling) - across_px(true_lens, falling)) < 0.2);
        for (double r = 0; r <= half; r += half / 16)
            CHECK(found.shading.transmission(r * r) ==
                  Approx(truth.shading.transmission(r * r)).epsilon(0.02));
    }
}

TEST_CASE("Two plates alone tell where things are, but not how light falls off, and that is said") {
    const auto& recorded = threeRows();
    PlateArguments arguments;
    for (const size_t p : {size_t(9), size_t(10)})
        arguments.plates.push_back(recorded.set.plates[p].file.path.string());
    const PlateSet set = gatherPlates(arguments);
    PlateStore store(set.plates);
    Solve solve = solvePlates(set, store, {}, nullptr);
    const auto told = balanceLight(set.plates, store, solve.plates);
    const auto says = [](const std::vector<std::string>& lines, const std::string& what) {
        return std::any_of(lines.begin(), lines.end(), [&](const std::string& line) {
            return line.find(what) != std::string::npos;
        });
    };
    CHECK(says(solve.notes, "lens of 2 plates found from the overlaps"));
    CHECK(solve.plates[0].lens.focal_mm ==
          Approx(recorded.shoot.plates[9].lens.focal_mm).epsilon(0.01));
    CHECK(says(told.warnings, "none is taken out"));
}
