#include "world/lens_charts.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

#include "world/flat_field.h"
#include "world/shoot.h"

using namespace plateloom;
using namespace plateloom::world;

namespace {

const calib::Sensor kSensor{36, 20.25, 960, 540};

calib::LensMap lens() {
    return {inventedLens(LensLook::barrel, calib::DistortionDirection::recorded_to_flat, 28, 2, 4),
            kSensor};
}

cv::Mat display(const io::Picture& picture) {
    cv::Mat out(picture.height, picture.width, CV_8U);
    for (int y = 0; y < picture.height; ++y)
        for (int x = 0; x < picture.width; ++x)
            out.at<uint8_t>(y, x) =
                cv::saturate_cast<uint8_t>(255 * std::sqrt(std::max(0.0f, picture.at(x, y)[0])));
    return out;
}

}  // namespace

TEST_CASE("an independent corner finder sees the checkerboard's corners where the truth says",
          "[lens_charts]") {
    const Board board;
    const calib::LensMap map = lens();
    ChartRender render;
    render.noise = 0;
    for (const BoardPose& pose :
         {boardPose(map, 0, 0, 0.95, 0, 0, 0), boardPose(map, -0.1, 0.05, 1.0, 25, 10, 8)}) {
        const io::Picture chart = renderChart(board, pose, map, render);
        std::vector<cv::Point2f> corners;
        REQUIRE(cv::findChessboardCornersSB(display(chart), {board.columns - 1, board.rows - 1},
                                            corners, cv::CALIB_CB_ACCURACY));
        const auto truth = recordedPoints(board, pose, map);
        REQUIRE(corners.size() == truth.size());
        double sum2 = 0;
        for (size_t i = 0; i < corners.size(); ++i) {
            // OpenCV counts from a pixel's middle; the board reads the same from either end.
            const size_t other = truth.size() - 1 - i;
            const calib::Vector2d seen(corners[i].x + 0.5, corners[i].y + 0.5);
            sum2 +=
                std::min((seen - *truth[i]).squaredNorm(), (seen - *truth[other]).squaredNorm());
        }
        CHECK(std::sqrt(sum2 / double(corners.size())) < 0.05);
    }
}

TEST_CASE("a dot's middle of gravity lies at its centre where nothing bends", "[lens_charts]") {
    const Board board{BoardKind::dots, 9, 5, 0.08};
    calib::Lens plain;
    plain.focal_mm = 28;
    const calib::LensMap map(plain, kSensor);
    const BoardPose pose = boardPose(map, 0, 0, 0.9, 0, 0, 7);
    ChartRender render;
    render.noise = render.lamp_tilt = 0;
    const io::Picture chart = renderChart(board, pose, map, render);
    const float paper = 0.85f * float(render.exposure);
    for (const auto& centre : recordedPoints(board, pose, map)) {
        double weight = 0, x_sum = 0, y_sum = 0;
        const int reach = 22;
        for (int y = int(centre->y()) - reach; y <= int(centre->y()) + reach; ++y)
            for (int x = int(centre->x()) - reach; x <= int(centre->x()) + reach; ++x) {
                const double ink = paper - chart.at(x, y)[0];
                weight += ink;
                x_sum += ink * (x + 0.5);
                y_sum += ink * (y + 0.5);
            }
        CHECK(std::hypot(x_sum / weight - centre->x(), y_sum / weight - centre->y()) < 0.02);
    }
}

TEST_CASE("poses carry the board's points to every corner of the frame", "[lens_charts]") {
    const BoardKind kind = GENERATE(BoardKind::checkerboard, BoardKind::charuco, BoardKind::dots);
    const Board board{kind, 12, 8, 0.05};
    const calib::LensMap map = lens();
    double reach_mm = 0;
    bool corner[2][2] = {};
    for (const BoardPose& pose : spreadPoses(board, map, 12, 3))
        for (const auto& point : recordedPoints(board, pose, map)) {
            if (kind != BoardKind::charuco) CHECK((point && map.inPicture(*point)));
            if (!point || !map.inPicture(*point)) continue;
            const calib::Vector2d mm = calib::mmFromPixel(kSensor, *point);
            reach_mm = std::max(reach_mm, mm.norm());
            if (mm.norm() > 0.75 * kSensor.halfDiagonal_mm()) corner[mm.x() > 0][mm.y() > 0] = true;
        }
    // A board that has to be seen whole does not reach as far.
    CHECK(reach_mm > (kind == BoardKind::charuco ? 0.95 : 0.84) * kSensor.halfDiagonal_mm());
    CHECK((corner[0][0] && corner[0][1] && corner[1][0] && corner[1][1]));
}

TEST_CASE("a flat field is the lens's shading times the screen's light", "[lens_charts]") {
    const calib::LensMap map = lens();
    FlatField field;
    field.noise = 0;
    field.tilt = {0.1, -0.05};
    field.facing = {5, -3, 90};
    const io::Picture picture = renderField(map, field);
    for (const calib::Vector2d& px : {calib::Vector2d(0.5, 0.5), {700.5, 100.5}, {480.5, 270.5}}) {
        const calib::Vector3d ray = calib::worldFromCamera(field.facing) * *map.rayFromRecorded(px);
        const double u = map.lens().focal_mm / kSensor.halfDiagonal_mm();
        const double screen = 1 + 0.1 * u * ray.x() / ray.y() + 0.05 * u * ray.z() / ray.y();
        CHECK(picture.at(int(px.x()), int(px.y()))[0] ==
              Approx(0.5 * map.transmission(px) * screen).epsilon(1e-5));
    }
}
