// A take's survey against a take on disk whose solve is written by hand, so that every figure is
// known.
#include "stitch/survey/take_survey.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>
#include <utility>

#include "calib/angle.h"
#include "stitch/compose/compose.h"
#include "tests/take_on_disk.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

struct Surveyed {
    test::Filmed filmed;
    Take take;
    TakeSolve solve;

    static world::ArraySettings settings() {
        auto settings = test::smallArray();
        settings.cameras = 2;
        settings.frames = 10;
        settings.width_px = 160;
        settings.height_px = 90;
        settings.iris_camera = 2;
        settings.missing = {{1, 1003, 1004}};
        return settings;
    }
    Surveyed() : filmed(settings()), take(gatherTake(filmed.arguments())) {
        for (size_t c = 0; c < 2; ++c) {
            const auto moment = take.at(1001);
            MountCamera camera;
            camera.placed = true;
            camera.ties = 200 + 100 * int(c);
            camera.rms_px = c == 0 ? 0.03 : 0.05;
            camera.standing = {{1001, calib::worldFromCamera({20 - 40.0 * double(c), 0, 0})}};
            camera.lens.lens = moment.plates[c].lens;
            camera.sensor = moment.plates[c].sensor;
            solve.solved.mount.cameras.push_back(camera);
            CameraLight light;
            light.keys = {{1001, {1, 1, 1}}};
            light.known_stops = moment.plates[c].exposure_stops;
            solve.solved.light.push_back(light);
        }
        LabelMap map{512, 256, std::vector<uint16_t>(512 * 256, 0)};
        for (int y = 0; y < 256; ++y)
            for (int x = 256; x < 512; ++x) map.label[size_t(y) * 512 + size_t(x)] = 1;
        solve.seams.parts = {{1001, map, ""}};
    }
};

double iris(const Course& course, int64_t frame) {
    double value = 0;
    for (const auto& [from, now] : course)
        if (from <= frame) value = now.value_or(-1);
    return value;
}

const TakeFinding* findingOf(const TakeSurvey& survey, FindingKind kind) {
    for (const auto& finding : survey.findings)
        if (finding.kind == kind) return &finding;
    return nullptr;
}

}  // namespace

TEST_CASE("Frames that follow one another are told as runs", "[take_survey]") {
    CHECK(runsFrom({}).empty());
    CHECK(runsFrom({1004}) == std::vector<FrameRun>{{1004, 1004}});
    CHECK(runsFrom({-2, -1, 0, 4, 6, 7}) == std::vector<FrameRun>{{-2, 0}, {4, 4}, {6, 7}});
}

TEST_CASE("A survey of a take tells each clip's rings, gains and frames as they are",
          "[take_survey]") {
    Surveyed s;
    s.solve.solved.black = {{1, 1008, 1030}};
    const TakeSurvey survey = surveyOf(s.take, s.solve);
    REQUIRE(survey.count() == 10);
    const auto &first = survey.cameras[0], &second = survey.cameras[1];
    CHECK(first.missing == std::vector<FrameRun>{{1003, 1004}});
    CHECK(second.missing.empty());
    CHECK(second.black == std::vector<FrameRun>{{1008, 1010}});
    CHECK(first.lens_source.find("cam1.jsonl") == 0);
    CHECK(second.iris_in_t_stops);
    for (int64_t frame = survey.first; frame <= survey.last; ++frame) {
        const auto& shot = s.filmed.take.clips[1].shoot.plates[size_t(frame - survey.first)];
        INFO(frame);
        CHECK(iris(second.iris, frame) == Approx(*shot.lens.t_stop).epsilon(2e-4));
        // What the iris took away by its own data is given back: two stops for half the aperture.
        CHECK(iris(second.gain_stops, frame) ==
              Approx(2 * std::log2(*shot.lens.t_stop / 2.8)).margin(2e-3));
        CHECK(iris(second.beyond_stops, frame) == Approx(0).margin(1e-6));
    }
    // Nothing is known of a lens whose frame is not there.
    CHECK(iris(first.iris, 1003) == -1);
    CHECK(iris(first.iris, 1005) == Approx(2.8).epsilon(1e-3));
    // Two of the frames are seen by one camera only, three by the other.
    const double all = iris(survey.cover, 1001);
    CHECK(iris(survey.cover, 1003) < 0.7 * all);
    CHECK(iris(survey.cover, 1009) < 0.7 * all);
    CHECK(iris(survey.cover, 1006) == all);
    CHECK(survey.covered_share == std::min(iris(survey.cover, 1003), iris(survey.cover, 1009)));
    CHECK(survey.toLookAt() == 5);
    REQUIRE(findingOf(survey, FindingKind::crushed));
    CHECK(findingOf(survey, FindingKind::crushed)->grave);
    CHECK(survey.findings.front().grave);
    CHECK(survey.verdict.find("Look at it: ") == 0);
    CHECK(findingOf(survey, FindingKind::iris));
    CHECK(survey.pictures.back().what == "worst");
    // A tie has two ends.
    CHECK(survey.mount_ties == 250);
    CHECK(survey.mount_rms_px == Approx(std::sqrt((200 * 0.03 * 0.03 + 300 * 0.05 * 0.05) / 500)));
}

TEST_CASE("A survey tells shake at the panorama's scale", "[take_survey]") {
    Surveyed s;
    s.solve.steady = Steady::lock;
    for (int i = 0; i < 10; ++i)
        s.solve.solved.taken_out.shared.push_back(
            calib::worldFromCamera({0.1 * i, i == 7 ? -2.0 : 0.0, 0}));
    s.solve.shake_unknown = {{1002, 1003}, {1050, 1060}};
    const TakeSurvey survey = surveyOf(s.take, s.solve);
    CHECK(survey.grid.width == nativeWidth(standingPlates(s.solve.solved)));
    REQUIRE(survey.shakes.size() == 1);
    const auto& shake = survey.shakes[0];
    CHECK(shake.camera == -1);
    CHECK(shake.steady == "lock");
    CHECK(shake.turn[4].pan_deg == Approx(0.4));
    CHECK(shake.largest_frame == 1008);
    CHECK(shake.largest_px == Approx(std::hypot(0.7, 2.0) * survey.grid.width / 360).epsilon(1e-3));
    CHECK(shake.unknown == std::vector<FrameRun>{{1002, 1003}});
    REQUIRE(findingOf(survey, FindingKind::shake));
    CHECK_FALSE(findingOf(survey, FindingKind::shake)->grave);

    // What stays in is told as well, right after a solve.
    s.solve.steady = Steady::none;
    s.solve.shook = std::exchange(s.solve.solved.taken_out, {});
    s.solve.shake_unknown.clear();
    const TakeSurvey left_in = surveyOf(s.take, s.solve);
    REQUIRE(left_in.shakes.size() == 1);
    CHECK(left_in.shakes[0].steady.empty());
    CHECK(left_in.shakes[0].rms_px == Approx(shake.rms_px));
    CHECK(findingOf(left_in, FindingKind::shake)->text.find("stays in") != std::string::npos);
}

TEST_CASE("A survey tells parallax in the panorama's pixels, at the distance composed for",
          "[take_survey]") {
    Surveyed s;
    OverlapDistance overlap;
    overlap.b = 1;
    overlap.ties = 40;
    overlap.inverse_m = 1 / 8.0;
    overlap.nearest_m = 5;
    overlap.farthest_m = std::numeric_limits<double>::infinity();
    overlap.left = {{0, 4}, {1 / 8.0, 0.5}, {1 / 4.0, 4.5}};
    s.solve.solved.mount.overlaps = {overlap};
    ComposeDistance distance;
    distance.inverse_m = 1 / 16.0;
    s.solve.solved.distance = std::make_shared<const ComposeDistance>(distance);
    const TakeSurvey survey = surveyOf(s.take, s.solve);
    REQUIRE(survey.overlaps.size() == 1);
    const auto& camera = s.solve.solved.mount.cameras[1];
    const double scale =
        survey.grid.pixelsPerRadian() / calib::LensMap(camera.lens.lens, camera.sensor).focal_px();
    CHECK(survey.overlaps[0].left[2].parallax_px == Approx(4.5 * scale));
    // Half-way between the two that were measured.
    CHECK(*survey.overlaps[0].composed_px == Approx(2.25 * scale));
    CHECK(survey.overlaps[0].farthest_inverse == 0);
    REQUIRE(findingOf(survey, FindingKind::parallax));
    const auto json = surveyJson(survey).at("overlaps")[0];
    CHECK(json.at("composed_m").get<double>() == Approx(16));
    CHECK(json.at("farthest_m").is_null());
}

TEST_CASE("A survey tells which cameras a seam moved between, where, and why", "[take_survey]") {
    Surveyed s;
    auto moved = s.solve.seams.parts[0];
    moved.frame = 1008;
    moved.why = "something crosses cam1 | cam2";
    // Columns 256 to 265 go to the first camera, at rows 120 to 135: pan 0 to -7, tilt 5.6 to -5.6.
    for (int y = 120; y < 136; ++y)
        for (int x = 256; x < 266; ++x) moved.map.label[size_t(y) * 512 + size_t(x)] = 0;
    s.solve.seams.parts.push_back(moved);
    const TakeSurvey survey = surveyOf(s.take, s.solve);
    REQUIRE(survey.seams.size() == 1);
    CHECK(survey.seams[0].from_frame == 1008 - kSeamPassage);
    CHECK(survey.seams[0].why == moved.why);
    REQUIRE(survey.seams[0].places.size() == 1);
    const auto& place = survey.seams[0].places[0];
    CHECK(place.a == 0);
    CHECK(place.b == 1);
    const double cell_deg = 360.0 / 512;
    CHECK(place.pan_deg == Approx(-5 * cell_deg).margin(1e-9));
    CHECK(place.width_deg == Approx(10 * cell_deg).margin(1e-9));
    CHECK(place.tilt_deg == Approx(0).margin(1e-9));
    CHECK(place.height_deg == Approx(16 * cell_deg).margin(1e-9));
    CHECK(survey.pictures.back().what == "worst");  // frames are missing, which is worse
    CHECK(survey.pictures.back().frame == 1003);
}

TEST_CASE("A knock is grave until it is solved in parts", "[take_survey]") {
    Surveyed s;
    s.solve.knocks = {{1, 1006, calib::worldFromCamera({0.5, 0, 0})}};
    const TakeSurvey off = surveyOf(s.take, s.solve);
    const auto* told = findingOf(off, FindingKind::knocked);
    REQUIRE(told);
    CHECK(told->grave);
    CHECK(told->frames == std::vector<FrameRun>{{1006, 1010}});
    CHECK(off.cameras[1].knocks[0].turn_deg == Approx(0.5));
    CHECK(off.toLookAt() == 7);

    s.solve.solved.mount.cameras[1].standing.push_back(
        {1006, calib::worldFromCamera({-20.5, 0, 0})});
    const TakeSurvey parts = surveyOf(s.take, s.solve);
    told = findingOf(parts, FindingKind::knocked);
    REQUIRE(told);
    CHECK_FALSE(told->grave);
    CHECK(told->frames == std::vector<FrameRun>{{1006, 1006}});
}

TEST_CASE("A survey of a stitch tells frames that are gone, and those of its own run only",
          "[take_survey]") {
    Surveyed s;
    TakeStitchResult result;
    result.take = s.take;
    result.solve = s.solve;
    result.grid.width = 512;
    result.grid.height = 256;
    result.first = 1006;
    result.last = 1009;
    result.output = s.filmed.folder / "pano.####.exr";
    for (int64_t frame = 1006; frame <= 1009; ++frame) {
        result.each.push_back({frame, frame > 1007, {{"read", 0.5, 0}}});
        if (frame != 1008) test::put(io::framePath(result.output.string(), frame), "12345");
    }
    test::put(s.filmed.folder / "pano.1002.exr", "there");
    const TakeSurvey survey = surveyOf(result);
    CHECK(survey.count() == 4);
    // What another run has to look at is not told here.
    CHECK(survey.cameras[0].missing.empty());
    REQUIRE(survey.findings.front().kind == FindingKind::missing_plate);
    CHECK(survey.findings.front().frames == std::vector<FrameRun>{{1008, 1008}});
    const auto json = surveyJson(survey).at("frames");
    CHECK(json.at("states") == "mmgk");
    CHECK(json.at("made") == 2);
    CHECK(json.at("kept") == 1);
    CHECK(json.at("missing") == 1);
    CHECK(json.at("bytes")[0] == 5);
    CHECK(json.at("bytes")[2].is_null());
    CHECK(json.at("others") == 6);
    CHECK(json.at("others_there") == 1);
}
