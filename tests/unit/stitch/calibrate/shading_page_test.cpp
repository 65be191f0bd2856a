#include "stitch/calibrate/shading_page.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

// One picture of 8 by 6 cells: the falloff, a cell without light and one that was left out.
ShadingMeasurement measurement(bool focal_known) {
    ShadingMeasurement out;
    out.sensor = {32, 24, 640, 480};
    out.terms = 1;
    ShadingSetting at;
    at.shading.a1 = 0.001;
    at.pictures = 1;
    for (const double share : {0.5, 0.75, 1.0}) {
        FalloffAt height;
        height.share = share;
        height.radius_mm = 20 * share;
        height.stops = -std::log2(at.shading.transmission(height.radius_mm * height.radius_mm));
        if (focal_known) {
            height.natural_stops = 0.9 * share;
            height.mechanical_stops = height.stops - 0.9 * share;
        }
        at.heights.push_back(height);
        at.curve.push_back(height);
    }
    at.profile.push_back({10, 0.9, 0.89, 0.91, 12});
    out.settings.push_back(at);
    ShadingPicture picture;
    picture.file = "somewhere/field.exr";
    picture.columns = 8;
    picture.rows = 6;
    picture.residual.assign(48, 0.01);
    picture.residual[5] = std::numeric_limits<double>::quiet_NaN();
    picture.used.assign(48, 1);
    picture.used[5] = picture.used[9] = 0;
    out.pictures.push_back(picture);
    return out;
}

}  // namespace

TEST_CASE("the page's cells are the field with its falloff, and without",
          "[calibrate][lens_page]") {
    const auto measured = measurement(true);
    const auto page = shadingPageJson(measured);
    const auto& picture = page.at("pictures")[0];
    CHECK(picture.at("file") == "field.exr");
    CHECK(picture.at("recorded")[5].is_null());
    CHECK(picture.at("rest")[5].is_null());
    CHECK(picture.at("used")[9] == 0);
    // Cells are 4 mm wide; cell 0 lies 14 mm to the left and 10 mm up.
    const double light = std::exp(0.01), corner = light * (1 - 0.001 * (14 * 14 + 10 * 10));
    CHECK(picture.at("recorded")[0].get<double>() == Approx(1000 * corner).margin(0.51));
    CHECK(picture.at("rest")[0].get<double>() == Approx(1000 * (light - 1)).margin(0.051));
    // More stops are less light: the brightest cells lie above the median.
    const auto& ring = page.at("settings")[0].at("profile")[0];
    CHECK(ring.at("brightest_stops") < ring.at("stops"));
    CHECK(ring.at("stops") < ring.at("darkest_stops"));
    CHECK(ring.at("stops").get<double>() == Approx(-std::log2(0.9)).margin(1e-5));
}

TEST_CASE("the page speaks of the cosine-fourth law only where the focal length is known",
          "[calibrate][lens_page]") {
    for (const bool known : {true, false}) {
        const auto page = shadingPageJson(measurement(known));
        const auto& setting = page.at("settings")[0];
        CHECK(setting.at("name") == "The lens");
        CHECK(setting.at("heights")[2].at("natural_stops").is_null() == !known);
        std::string words;
        for (const auto& sentence : setting.at("verdict")) words += sentence.get<std::string>();
        CHECK((words.find("cosine-fourth") != std::string::npos) == known);
        CHECK(words.find("0.74 stops darker") != std::string::npos);
        CHECK(io::lensPage(page, {}).find("0.74 stops darker") != std::string::npos);
    }
}
