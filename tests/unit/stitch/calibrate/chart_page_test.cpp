#include "stitch/calibrate/chart_page.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <nlohmann/json.hpp>

#include "stitch/calibrate/chart_figures.h"

using namespace plateloom;
using namespace plateloom::stitch;
using calib::Vector2d;

namespace {

const calib::Sensor kSensor{36, 24, 600, 400};

// Four pictures of a board of 40 by 30 points, the last one left out; two points of the first are
// strays.
ChartMeasurement measurement() {
    ChartMeasurement lens;
    lens.sensor = kSensor;
    lens.lens.focal_mm = 30;
    lens.lens.distortion.radial = {2e-4, 0, 0, 0, 0, 0};
    lens.board = calib::regularBoard(40, 30, 10);
    lens.focal_sigma_mm = 0.02;
    for (int k = 0; k < 4; ++k) {
        ChartPicture picture;
        picture.file = "somewhere/chart." + std::to_string(k) + ".exr";
        picture.used = k < 3;
        if (!picture.used) picture.why_not = "blurred";
        picture.recorded.worst_px = 1 + k % 3;
        picture.rms_px = 0.1;
        for (int i = 0; i < 1200; ++i)
            picture.points.push_back({i,
                                      {50 + 12.0 * (i % 40), 40 + 10.0 * double(i / 40)},
                                      {0.1, -0.05},
                                      k != 0 || i >= 2});
        lens.pictures.push_back(picture);
    }
    lens.support = supportOf(lens.pictures, kSensor);
    lens.distortion = distortionCurve(lens.lens, kSensor, lens.support.reach_mm);
    return lens;
}

nlohmann::json pageOf(const ChartMeasurement& lens) {
    ChartJob job;
    job.lenses = {lens};
    return chartPageJson(job).at("settings").at(0);
}

}  // namespace

TEST_CASE("of many points the page draws an even share of each used picture",
          "[calibrate][lens_page]") {
    const auto page = pageOf(measurement());
    CHECK(page.at("points") == 3 * 1200 - 2);
    const auto& drawn = page.at("residuals");
    CHECK(drawn.size() <= 3000);
    CHECK(drawn.size() > 1500);
    std::array<int, 4> of_picture{};
    for (const auto& point : drawn) {
        ++of_picture[point[4].get<size_t>()];
        CHECK(point[2] == 0.1);
        CHECK(point[3] == -0.05);
    }
    CHECK(of_picture[3] == 0);
    for (const size_t k : {0, 1, 2}) CHECK(std::abs(of_picture[k] - of_picture[1]) <= 2);
    CHECK(page.at("strays").size() == 2);
    CHECK(page.at("strays")[1] == nlohmann::json{62.0, 40.0, 0});
}

TEST_CASE("the page's grid says how far each place of a straight grid is moved",
          "[calibrate][lens_page]") {
    const auto lens = measurement();
    const auto page = pageOf(lens);
    const auto& grid = page.at("grid");
    const int across = grid.at("across"), down = grid.at("down"), every = grid.at("every");
    CHECK(across % every == 0);
    CHECK(down % every == 0);
    const calib::LensMap map(lens.lens, kSensor);
    double largest = 0;
    for (int j = 0; j <= down; ++j)
        for (int i = 0; i <= across; ++i) {
            const auto at = size_t(j * (across + 1) + i);
            const Vector2d flat_px(600.0 * i / across, 400.0 * j / down);
            const Vector2d recorded_px(flat_px.x() + grid.at("moved_x_px")[at].get<double>(),
                                       flat_px.y() + grid.at("moved_y_px")[at].get<double>());
            // Back through the closed direction, within the digits that the page carries.
            const auto flat = map.flatFromRecorded_mm(calib::mmFromPixel(kSensor, recorded_px));
            REQUIRE(flat);
            CHECK((calib::pixelFromMm(kSensor, *flat) - flat_px).norm() < 2e-3);
            largest = std::max(largest, (recorded_px - flat_px).norm());
        }
    CHECK(grid.at("largest_px").get<double>() == Approx(largest).margin(1e-3));
}

TEST_CASE("straight guides join the ends of the board's outer lines, recorded and flattened",
          "[calibrate][lens_page]") {
    const auto lens = measurement();
    const auto page = pageOf(lens);
    // Of the used pictures the one whose lines bend most.
    CHECK(page.at("shown").at("picture") == 2);
    const auto& guides = page.at("shown").at("guides");
    REQUIRE(guides.size() == 4);
    const calib::LensMap map(lens.lens, kSensor);
    for (const auto& guide : guides)
        for (const size_t end : {0, 1}) {
            const Vector2d recorded(guide.at("recorded")[end][0].get<double>() * 600,
                                    guide.at("recorded")[end][1].get<double>() * 400);
            const Vector2d flat(guide.at("flat")[end][0].get<double>() * 600,
                                guide.at("flat")[end][1].get<double>() * 400);
            const auto right = map.flatFromRecorded_mm(calib::mmFromPixel(kSensor, recorded));
            CHECK((calib::pixelFromMm(kSensor, *right) - flat).norm() < 0.02);
        }
    CHECK(guides[0].at("recorded")[0][0].get<double>() == Approx(50.0 / 600).margin(1e-5));
    CHECK(guides[0].at("recorded")[1][0].get<double>() ==
          Approx((50 + 12.0 * 39) / 600).margin(1e-5));
}

TEST_CASE("what is not known is said, and pictures that are gone leave their place empty",
          "[calibrate][lens_page]") {
    auto lens = measurement();
    lens.focal_sigma_mm = INFINITY;
    ChartJob job;
    job.lenses = {lens};
    const auto page = chartPageJson(job);
    CHECK(nlohmann::json::parse(page.dump()).at("settings")[0].at("focal_sigma_mm").is_null());
    const std::string first = page.at("settings")[0].at("verdict")[0];
    CHECK(first.find("do not tell") != std::string::npos);
    CHECK(first.find("inf") == std::string::npos);
    CHECK(page.at("settings")[0].at("pictures")[3].at("why") == "blurred");
    const auto pictures = chartPictures(job, "");
    REQUIRE(pictures.size() == 1);
    CHECK(pictures[0].recorded.empty());
    CHECK(io::lensPage(page, pictures).find("do not tell") != std::string::npos);
}
