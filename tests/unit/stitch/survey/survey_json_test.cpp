#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "stitch/survey/survey.h"

using namespace plateloom;
using namespace plateloom::stitch;

TEST_CASE("what a survey does not know is null in its JSON, never 0", "[survey]") {
    Survey survey;
    survey.plates.push_back({});
    survey.findings.push_back({});
    survey.pairs.push_back({});
    const auto json = surveyJson(survey);
    const auto& plate = json["plates"][0];
    for (const char* field :
         {"pan_deg", "tilt_deg", "roll_deg", "focal_mm", "focus_m", "t_stop", "f_stop", "iso",
          "gain_stops", "exposure_stops", "clipped", "crushed", "sharpness", "timecode"})
        CHECK(plate.at(field).is_null());
    CHECK(json["findings"][0]["pan_deg"].is_null());
    CHECK(json["pairs"][0]["parallax_px"].is_null());
    CHECK(json["quick_panorama"].is_null());
    CHECK(json["head_offset"].is_null());
}

TEST_CASE("a survey's cover map is one digit a cell, nine for nine and more", "[survey]") {
    Survey survey;
    survey.cover.map = {3, 2, {0, 1, 2, 9, 10, 255}};
    const auto rows = surveyJson(survey)["cover"]["map"]["rows"];
    REQUIRE(rows.size() == 2);
    CHECK(rows[0] == "012");
    CHECK(rows[1] == "999");
}
