#include "stitch/survey/cover_findings.h"

#include <catch2/catch.hpp>

#include "stitch/check/picture_findings.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

// Rows of plates, 24 mm on 36 x 20.25 mm: 74 by 46 degrees each. Their places are known; nothing is
// rendered.
struct Rows {
    std::vector<double> tilts_deg;
    int pans = 8;
};

Solve solveOf(const Rows& rows) {
    Solve solve;
    for (const double tilt : rows.tilts_deg)
        for (int i = 0; i < rows.pans; ++i) {
            io::SolvedPlate plate;
            plate.file = "plate." + std::to_string(1001 + solve.plates.size()) + ".exr";
            plate.placed = true;
            plate.placed_by = "ties";
            plate.pose = {180.0 - 360.0 * i / rows.pans, tilt, 0};
            plate.lens.focal_mm = 24;
            plate.sensor = {36, 20.25, 640, 360};
            solve.plates.push_back(plate);
        }
    return solve;
}

std::vector<Finding> found(const Survey& survey, FindingKind kind, bool grave) {
    std::vector<Finding> some;
    for (const auto& finding : survey.findings)
        if (finding.kind == kind && finding.grave == grave) some.push_back(finding);
    return some;
}

}  // namespace

TEST_CASE("rows that share a third are sound", "[findings]") {
    const Survey survey = surveyOf({}, solveOf({{-30, 0, 30}}));
    CHECK(survey.findings.empty());
    CHECK_THAT(survey.verdict, Catch::StartsWith("It holds"));
}

TEST_CASE("rows that hardly share anything are told, above each other as well as beside",
          "[findings]") {
    // 46 degrees high and 45 apart.
    const Survey survey = surveyOf({}, solveOf({{-22, 22.5}}));
    const auto overlaps = found(survey, FindingKind::overlap, true);
    REQUIRE(overlaps.size() == 8);
    for (const auto& finding : overlaps) {
        CHECK_THAT(finding.text, Catch::Contains("with the row below it"));
        CHECK(finding.plates.size() == 2);
        CHECK(*finding.tilt_deg == Approx(0.25).margin(1));
    }
}

TEST_CASE("one plate that is missing is one thing to fix", "[findings]") {
    // Without it its neighbours share a sliver or nothing, and holes stay above and below.
    for (const double tilt : {-36.0, 0.0, 36.0}) {
        CAPTURE(tilt);
        Solve solve = solveOf({{-36, 0, 36}, 7});
        const auto gone = std::find_if(
            solve.plates.begin(), solve.plates.end(), [&](const io::SolvedPlate& plate) {
                return plate.pose.tilt_deg == tilt && std::abs(plate.pose.pan_deg) < 30;
            });
        const auto pose = gone->pose;
        solve.plates.erase(gone);
        const Survey survey = surveyOf({}, solve);
        const auto holes = found(survey, FindingKind::hole, true);
        REQUIRE(holes.size() == 1);
        CHECK(*holes[0].pan_deg == Approx(pose.pan_deg).margin(5));
        CHECK(*holes[0].tilt_deg == Approx(pose.tilt_deg).margin(12));
        CHECK(found(survey, FindingKind::overlap, true).empty());
    }
}

TEST_CASE("holes that no one plate fills are two things to fix", "[findings]") {
    Solve solve = solveOf({{-36, 0, 36}, 7});
    solve.plates.erase(solve.plates.begin() + 12);
    solve.plates.erase(solve.plates.begin() + 8);
    CHECK(found(surveyOf({}, solve), FindingKind::hole, true).size() == 2);
}

TEST_CASE("wanted pans may go through 180", "[findings]") {
    // A row from pan 90 to -90 by the front: nothing is behind.
    Solve solve;
    for (auto& plate : solveOf({{0}, 12}).plates)
        if (std::abs(plate.pose.pan_deg) <= 91) solve.plates.push_back(plate);
    CoverRequest request;
    request.pan_deg = {{-60.0, 60.0}};
    CHECK(surveyOf({}, solve, request).holes.empty());
    request.pan_deg = {{110.0, 250.0}};
    const Survey survey = surveyOf({}, solve, request);
    REQUIRE(survey.holes.size() == 1);
    CHECK(std::abs(survey.holes[0].pan_deg) > 175);
    CHECK(survey.holes[0].width_deg < 141);
}

TEST_CASE("plates that disagree because the head is off the pupil are told with it", "[findings]") {
    Solve solve = solveOf({{0}});
    solve.plates[3].placed = false;
    solve.plates[3].why_not = "its matches disagree with the other plates";
    Survey survey = surveyOf({}, solve);
    REQUIRE(found(survey, FindingKind::not_tied, true).size() == 1);
    addParallaxFinding(4, 0.01, 3.0, survey);
    CHECK(found(survey, FindingKind::not_tied, true).empty());
    CHECK(found(survey, FindingKind::parallax, true).size() == 1);
    CHECK(*survey.head_offset->offset_mm == Approx(30));
}
