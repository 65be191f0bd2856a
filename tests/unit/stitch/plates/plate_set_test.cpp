#include "stitch/plates/plate_set.h"

#include <catch2/catch.hpp>

#include "io/input_error.h"
#include "stitch/plates/plate_exposure.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

io::PlateFile plate(const std::string& name, int width = 3000, int height = 2000) {
    io::PlateFile file;
    file.path = name;
    file.width = width;
    file.height = height;
    return file;
}

Plate described(const io::PlateFile& file, const PlateArguments& arguments = {}) {
    return describePlates({file}, {}, nullptr, arguments).plates.front();
}

double view_deg(const Plate& p) {
    return calib::angleOfView_deg(p.sensor.width_mm, p.lens.focal_mm);
}

io::LensTrack trackOf(const io::LensSample& sample) {
    io::LensTrack track;
    track.path = "track.jsonl";
    track.samples = {sample};
    return track;
}

io::LensSample wideSample() {
    io::LensSample s;
    s.lens.focal_mm = 18;
    s.has_focal = true;
    s.sensor_width_mm = 36;
    s.sensor_height_mm = 24;
    return s;
}

}  // namespace

TEST_CASE("A track's focal length and sensor are taken, the height from square pixels") {
    auto sample = wideSample();
    sample.sensor_height_mm = 24.1;  // within 1 %: its own height holds
    CHECK(describePlates({plate("a")}, {trackOf(sample)}, nullptr, {}).plates[0].sensor.height_mm ==
          24.1);
    const auto wide =
        describePlates({plate("a", 3000, 1500)}, {trackOf(wideSample())}, nullptr, {});
    CHECK(wide.plates[0].sensor.height_mm == 18);
    CHECK(wide.plates[0].focal_sigma == 0.001);
    REQUIRE(wide.warnings.size() == 1);
    CHECK_THAT(wide.warnings[0], Catch::Matchers::Contains("another shape"));
}

TEST_CASE("The entrance pupil stands before the camera's place, along the optical axis") {
    auto sample = wideSample();
    sample.translation_m = calib::Vector3d(1, 2, 3);
    sample.lens.entrance_pupil_offset_m = 0.1;
    const auto pupil = [&] {
        return describePlates({plate("a")}, {trackOf(sample)}, nullptr, {}).plates[0].pupil_m;
    };
    CHECK_FALSE(pupil());  // nobody says which way it looked
    // A quarter to the left: forward is -X.
    sample.pose = calib::PanTiltRoll{90, 0, 30};
    CHECK((pupil().value() - calib::Vector3d(0.9, 2, 3)).norm() < 1e-12);
    sample.pose = calib::PanTiltRoll{0, 90, 0};
    CHECK((pupil().value() - calib::Vector3d(1, 2, 3.1)).norm() < 1e-12);
    sample.lens.entrance_pupil_offset_m.reset();
    CHECK(pupil().value() == calib::Vector3d(1, 2, 3));
    sample.translation_m.reset();
    CHECK_FALSE(pupil());
}

TEST_CASE("A picture that was turned upright sees what its track's lying sensor saw") {
    for (const double roll_deg : {88.0, -93.0}) {
        auto sample = wideSample();
        sample.has_distortion = true;
        sample.lens.distortion.radial[0] = 2e-4;
        sample.lens.distortion.tangential = {3e-4, -5e-4};
        sample.lens.distortion_offset_mm = {0.4, -0.3};
        sample.lens.projection_offset_mm = {-0.2, 0.7};
        sample.pose = calib::PanTiltRoll{20, 10, roll_deg};
        const Plate lying =
            describePlates({plate("a", 3000, 2000)}, {trackOf(sample)}, nullptr, {}).plates[0];
        const Plate upright =
            describePlates({plate("a", 2000, 3000)}, {trackOf(sample)}, nullptr, {}).plates[0];
        CHECK(upright.sensor.width_mm == 24);
        CHECK(upright.sensor.height_mm == 36);
        CHECK(std::abs(upright.pose->roll_deg) < 4);
        // Turned clockwise, the pixel at (x, y) comes to (2000 - y, x).
        const calib::Vector2d lying_px(700, 300);
        const calib::Vector2d upright_px =
            roll_deg > 0 ? calib::Vector2d(2000 - 300, 700) : calib::Vector2d(300, 3000 - 700);
        const auto direction = [](const Plate& p, const calib::Vector2d& px) {
            return calib::Vector3d(calib::worldFromCamera(*p.pose) *
                                   *calib::LensMap(p.lens, p.sensor).rayFromRecorded(px));
        };
        CHECK((direction(lying, lying_px) - direction(upright, upright_px)).norm() < 1e-12);
    }
}

TEST_CASE("A 35 mm equivalent is by the diagonal, whatever the picture's shape") {
    io::PlateFile file = plate("a", 4000, 3000);
    file.focal_35mm_equivalent = 43.27 / 2;
    const Plate p = described(file);
    CHECK(calib::angleOfView_deg(2 * p.sensor.halfDiagonal_mm(), p.lens.focal_mm) == Approx(90));
    CHECK(p.focal_sigma == 0.03);
    // The same camera held upright sees the same diagonal.
    std::swap(file.width, file.height);
    const Plate upright = described(file);
    CHECK(upright.lens.focal_mm == Approx(p.lens.focal_mm));
    CHECK(upright.sensor.height_mm == Approx(p.sensor.width_mm));
}

TEST_CASE("A focal length with its 35 mm equivalent tells the sensor") {
    io::PlateFile file = plate("a", 3000, 2000);
    file.focal_mm = 10;
    file.focal_35mm_equivalent = 20;
    const Plate p = described(file);
    CHECK(2 * p.sensor.halfDiagonal_mm() == Approx(43.27 / 2));
    CHECK(p.lens.focal_mm == 10);
}

TEST_CASE("What is not known is guessed, warned of, and marked by its uncertainty") {
    const PlateSet nothing = describePlates({plate("a"), plate("b")}, {}, nullptr, {});
    CHECK(view_deg(nothing.plates[0]) == Approx(50));
    CHECK(nothing.plates[0].focal_sigma == 0.5);
    CHECK(nothing.warnings.size() == 1);  // once for both
    io::PlateFile file = plate("a");
    file.focal_mm = 35;
    CHECK(described(file).focal_sigma == 0.5);
    PlateArguments arguments;
    arguments.sensor_width_mm = 24;
    CHECK(described(file, arguments).focal_sigma == 0.03);
    CHECK(described(plate("a", 2000, 3000), arguments).sensor.height_mm == Approx(24));
}

TEST_CASE("A camera report adds a pose and a focal length, but does not override a measured one") {
    io::CameraReport report;
    report.path = "report.csv";
    io::ReportLine line;
    line.file = "A";
    line.pan_deg = 10;
    line.tilt_deg = -5;
    line.focal_mm = 20;
    report.lines = {line};
    const auto bare = describePlates({plate("x/a.exr"), plate("x/b.exr")}, {}, &report, {});
    CHECK(bare.plates[0].pose->pan_deg == 10);
    CHECK(bare.plates[0].lens.focal_mm == 20);
    CHECK_FALSE(bare.plates[1].pose);
    const auto measured = describePlates({plate("a.exr")}, {trackOf(wideSample())}, &report, {});
    CHECK(measured.plates[0].lens.focal_mm == 18);
    report.lines[0].file = "c.exr";
    CHECK_THAT(describePlates({plate("a.exr")}, {}, &report, {}).warnings[0],
               Catch::Matchers::Contains("c.exr"));
}

TEST_CASE("A report's name that fits two plates is refused, with its folder it is not") {
    io::CameraReport report;
    report.lines.resize(1);
    report.lines[0].file = "1.exr";
    const std::vector files{plate("left/1.exr"), plate("right/1.exr")};
    CHECK_THROWS_AS(describePlates(files, {}, &report, {}), io::InputError);
    report.lines[0].file = "right/1.exr";
    report.lines[0].focal_mm = 70;
    CHECK(describePlates(files, {}, &report, {}).plates[1].lens.focal_mm == 70);
}

TEST_CASE("A lens that can't be used is refused with its place in the track") {
    auto sample = wideSample();
    sample.has_distortion = true;
    sample.lens.distortion.radial[0] = -3e-3;  // folds at 10.5 mm
    sample.line = 7;
    sample.number = 1;
    CHECK_THROWS_WITH(
        describePlates({plate("a.exr")}, {trackOf(sample)}, nullptr, {}),
        Catch::Matchers::Contains("track.jsonl:7") && Catch::Matchers::Contains("folds"));
}

TEST_CASE("Plates share a lens when camera, sensor, shape and focal length are the same") {
    const auto with = [](double focal_mm, const char* camera, int height = 2000) {
        io::PlateFile file = plate("p", 3000, height);
        file.camera = camera;
        file.focal_mm = focal_mm;
        file.sensor_width_mm = 36;
        return file;
    };
    const PlateSet set = describePlates({with(24, "one"), with(24.05, "one"), with(24, "two"),
                                         with(35, "one"), with(24, "one", 2500), with(24, "one")},
                                        {}, nullptr, {});
    std::vector<int> groups;
    for (const Plate& p : set.plates) groups.push_back(p.lens_group);
    CHECK(groups == std::vector<int>{0, 0, 1, 2, 3, 0});
}

TEST_CASE("Known exposure counts a stop more light as one, whichever way it came") {
    ExposureFacts base;
    base.t_stop = 4;
    base.iso = 400;
    base.shutter_s = 1.0 / 48;
    base.nd_stops = 1;
    auto wider = base, faster = base, longer = base, darker = base;
    *wider.t_stop /= std::sqrt(2.0);
    *faster.iso *= 2;
    *longer.shutter_s *= 2;
    *darker.nd_stops += 1;
    const auto known = knownExposure({base, wider, faster, longer, darker});
    for (int i = 1; i <= 3; ++i) CHECK(*known.stops[i] - *known.stops[0] == Approx(1));
    CHECK(*known.stops[4] - *known.stops[0] == Approx(-1));
}

TEST_CASE("What only some plates know makes exposures incomparable; what none knows is constant") {
    ExposureFacts full, part;
    full.t_stop = 4;
    full.iso = 400;
    part.t_stop = 2.8;
    const auto none = knownExposure({full, part});
    CHECK_FALSE(none.stops[0]);
    CHECK_FALSE(none.warning.empty());
    full.iso.reset();
    CHECK(*knownExposure({full, part}).stops[1] - *knownExposure({full, part}).stops[0] ==
          Approx(1.03).margin(0.01));
    CHECK(knownExposure({ExposureFacts{}, ExposureFacts{}}).warning.empty());
}

TEST_CASE("A report that gives pan and tilt only keeps the roll that its upright picture has") {
    auto sample = wideSample();
    sample.pose = calib::PanTiltRoll{10, 2, 91};
    io::CameraReport report;
    io::ReportLine line;
    line.file = "a";
    line.pan_deg = 12;
    line.tilt_deg = 3;
    report.lines.push_back(line);
    const auto upright =
        describePlates({plate("a", 2000, 3000)}, {trackOf(sample)}, &report, {}).plates[0];
    REQUIRE(upright.pose);
    CHECK(upright.pose->pan_deg == 12);
    CHECK(upright.pose->tilt_deg == 3);
    CHECK(upright.pose->roll_deg == Approx(1).margin(1e-9));
    REQUIRE(upright.tracked_pose);
    CHECK(upright.tracked_pose->pan_deg == 10);
    CHECK(upright.tracked_pose->roll_deg == Approx(1).margin(1e-9));
}

TEST_CASE("An upright picture of which nothing is known has the lying ones' lens") {
    const auto set =
        describePlates({plate("a"), plate("b", 2000, 3000), plate("c")}, {}, nullptr, {});
    const Plate &lying = set.plates[0], &upright = set.plates[1];
    CHECK(upright.sensor.height_mm == Approx(lying.sensor.width_mm));
    CHECK(upright.lens.focal_mm == Approx(lying.lens.focal_mm));
    CHECK(upright.lens_group == lying.lens_group);
    CHECK(upright.quarter_turn == 1);
    CHECK(lying.quarter_turn == 0);
    // Alone, they have axes of their own.
    CHECK(described(plate("b", 2000, 3000)).quarter_turn == 0);
}
