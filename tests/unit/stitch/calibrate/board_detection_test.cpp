#include "stitch/calibrate/board_detection.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <map>
#include <opencv2/imgproc.hpp>

#include "stitch/calibrate/board_points.h"
#include "world/lens_charts.h"

using namespace plateloom;
using namespace plateloom::stitch;
using calib::Vector2d;

namespace {

const calib::Sensor kSensor{36, 20.25, 960, 540};

calib::LensMap someLens() {
    calib::Lens lens;
    lens.focal_mm = 27.6;
    lens.distortion.radial = {1.2e-4, 0, 2e-8, 0, 0, 0};
    return {lens, kSensor};
}

struct Picture {
    ChartLight light;
    std::vector<std::optional<Vector2d>> truth;
};

Picture picture(const world::Board& board, const world::BoardPose& pose, double exposure = 0.8) {
    world::ChartRender settings;
    settings.samples = 2;
    settings.exposure = exposure;
    const auto rendered = world::renderChart(board, pose, someLens(), settings);
    Picture out;
    out.light.light.create(rendered.height, rendered.width, CV_32F);
    for (int y = 0; y < rendered.height; ++y)
        for (int x = 0; x < rendered.width; ++x)
            out.light.light.at<float>(y, x) = rendered.at(x, y)[1];
    out.light.tone = tonesOf(out.light.light, 0.99);
    out.truth = world::recordedPoints(board, pose, someLens());
    return out;
}

// The furthest point from the truth. A dot grid may be numbered from either end.
double worst_px(const FoundBoard& found, const Picture& shown) {
    double best = 1e9;
    for (const bool turned : {false, true}) {
        if (turned && found.turns == 1) continue;
        double worst = 0;
        for (size_t i = 0; i < found.px.size(); ++i) {
            const size_t at = size_t(found.point[i]);
            const auto& truth = shown.truth[turned ? shown.truth.size() - 1 - at : at];
            worst = std::max(worst, truth ? (found.px[i] - *truth).norm() : 1e9);
        }
        best = std::min(best, worst);
    }
    return best;
}

BoardWish wish(BoardKind kind, int columns, int rows) {
    BoardWish out;
    out.kind = kind;
    out.columns = columns;
    out.rows = rows;
    out.pitch_mm = 50;
    return out;
}

}  // namespace

TEST_CASE("a checkerboard's corners are found to a fiftieth of a pixel, whatever the exposure",
          "[calibrate][boards]") {
    const world::Board board{world::BoardKind::checkerboard, 12, 8, 0.05};
    const auto pose = world::boardPose(someLens(), 0.15, -0.1, 0.95, 25, -15, 8);
    for (const double exposure : {0.15, 5.0}) {
        const auto shown = picture(board, pose, exposure);
        const auto found = findBoard(shown.light, wish(BoardKind::checker, 11, 7));
        REQUIRE(found);
        CHECK(found->px.size() == 77);
        CHECK(worst_px(*found, shown) < 0.02);
        CHECK(found->edge_px > 1);
        CHECK(found->edge_px < 4);
    }
}

TEST_CASE("a checkerboard of another size is not found", "[calibrate][boards]") {
    const world::Board board{world::BoardKind::checkerboard, 12, 8, 0.05};
    const auto shown = picture(board, world::boardPose(someLens(), 0, 0, 1.0, 12, 5, 0));
    CHECK(!findBoard(shown.light, wish(BoardKind::checker, 10, 6)));
    CHECK(!findBoard(shown.light, wish(BoardKind::checker, 12, 8)));
    CHECK(!findBoard(shown.light, wish(BoardKind::dots, 11, 7)));
}

TEST_CASE("a marker board reaches beyond the frame", "[calibrate][boards]") {
    const world::Board board{world::BoardKind::charuco, 12, 8, 0.05};
    const auto shown = picture(board, world::boardPose(someLens(), 0.75, 0.7, 0.75, 15, -10, 20));
    const auto found = findBoard(shown.light, wish(BoardKind::charuco, 12, 8));
    REQUIRE(found);
    CHECK(found->dictionary == "4x4");
    CHECK(found->px.size() > 20);
    CHECK(found->px.size() < 77);
    CHECK(worst_px(*found, shown) < 0.01);
}

TEST_CASE("dots: middles found once their perspective is taken into account, size measured",
          "[calibrate][boards]") {
    const world::Board board{world::BoardKind::dots, 13, 9, 0.05};
    const auto shown = picture(board, world::boardPose(someLens(), -0.1, 0.1, 1.0, 8, 6, -4));
    const auto found = findBoard(shown.light, wish(BoardKind::dots, 13, 9));
    REQUIRE(found);
    CHECK(found->px.size() == 117);
    CHECK(worst_px(*found, shown) < 0.15);
    CHECK(found->dot_mm == Approx(25).epsilon(0.04));
}

TEST_CASE("where a board's lines run through a corner", "[calibrate][boards]") {
    // A line of corners that bends by 0.5 px a step more each, another that is straight.
    const auto place = [](int i, int j) {
        return Vector2d(100 + 20 * i, 50 + 0.25 * i * i + 30 * j);
    };
    std::map<std::pair<int, int>, Vector2d> corners;
    for (int i = 0; i < 4; ++i)
        for (int j = 0; j < 2; ++j) corners[{i, j}] = place(i, j);
    const CornerOf find = [&](int i, int j) {
        const auto at = corners.find({i, j});
        return at == corners.end() ? nullptr : &at->second;
    };
    // In the middle of the line, at both of its ends, and of a line of two.
    for (const int i : {0, 1, 3}) {
        const auto lines = linesAt(find, i, 1);
        REQUIRE(lines);
        CHECK((lines->right - Vector2d(20, 0.5 * i)).norm() < 1e-12);
        CHECK((lines->bend_right - Vector2d(0, 0.5)).norm() < 1e-12);
        CHECK((lines->down - Vector2d(0, 30)).norm() < 1e-12);
        CHECK(lines->bend_down.norm() < 1e-12);
    }
    corners.erase({2, 0});
    CHECK_FALSE(linesAt(find, 2, 1));
    CHECK_FALSE(linesAt(find, 2, 0));
}

TEST_CASE("edges tell how blurred they are", "[calibrate][boards]") {
    cv::Mat light(80, 80, CV_32F, 0.1f);
    light.colRange(40, 80).setTo(0.9f);
    for (const double sigma : {1.0, 2.5}) {
        cv::Mat blurred;
        cv::GaussianBlur(light, blurred, {}, sigma);
        const auto width = edgeWidth(blurred, {40, 40}, {14, 0});
        REQUIRE(width);
        // 10 to 90 % of a Gaussian's integral: 2.563 sigma; a pixel is a box of its own.
        CHECK(*width == Approx(2.563 * std::hypot(sigma, 0.29)).epsilon(0.08));
    }
}
