// The chessboard pictures of OpenCV's documentation package (opencv-doc, examples/data: left01 ..
// left14, right01 .. right14, 9x6 inner corners, 640x480), against cv::calibrateCamera on the same
// corners, and against the intrinsics that the package publishes for the left ones.
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdio>
#include <map>
#include <opencv2/calib3d.hpp>

#include "stitch/calibrate/chart_measure.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

const std::string kFolder = "/usr/share/doc/opencv-doc/examples/data/";

ChartTask chessboards(const std::string& side) {
    ChartTask task;
    // A nominal sensor: all is compared in pixels.
    task.sensor = {6.4, 4.8, 640, 480};
    task.board.kind = BoardKind::checker;
    task.board.columns = 9;
    task.board.rows = 6;
    for (int i = 1; i <= 14; ++i) {
        if (i == 10) continue;  // the package has none
        char name[40];
        std::snprintf(name, sizeof name, "%s%02d.jpg", side.c_str(), i);
        const auto light = readChartLight(io::readPlateHeader(kFolder + name));
        task.pictures.push_back({name, findBoard(light, task.board)});
    }
    return task;
}

struct Peer {
    double rms_px, held_out_px, focal_px;
};

// Measured once for all tests.
const ChartMeasurement& measured(const std::string& side) {
    static std::map<std::string, ChartMeasurement> known;
    const auto at = known.find(side);
    return at != known.end() ? at->second
                             : known.emplace(side, measureLens(chessboards(side))).first->second;
}

// cv::calibrateCamera on the same corners of all pictures (those that the measurement threw out as
// outliers are spared it as well); and on all pictures but one, with the pose of that one from
// solvePnP.
Peer calibrateCamera(const ChartMeasurement& lens, int flags) {
    std::vector<std::vector<cv::Point2f>> corners;
    std::vector<std::vector<cv::Point3f>> boards;
    size_t points = 0;
    for (const auto& picture : lens.pictures) {
        corners.emplace_back();
        boards.emplace_back();
        for (const auto& point : picture.points) {
            if (!point.used) continue;
            corners.back().emplace_back(float(point.recorded_px.x() - 0.5),
                                        float(point.recorded_px.y() - 0.5));
            boards.back().emplace_back(float(point.point % 9), float(point.point / 9), 0.0f);
            ++points;
        }
    }
    const cv::Size size(640, 480);
    cv::Mat K, distortion;
    std::vector<cv::Mat> turns, places;
    Peer out{};
    out.rms_px = cv::calibrateCamera(boards, corners, size, K, distortion, turns, places, flags);
    out.focal_px = K.at<double>(0, 0);
    double square = 0;
    for (size_t v = 0; v < corners.size(); ++v) {
        auto rest = corners;
        auto rest_boards = boards;
        rest.erase(rest.begin() + ptrdiff_t(v));
        rest_boards.erase(rest_boards.begin() + ptrdiff_t(v));
        const auto& board = boards[v];
        cv::Mat k, d, turn, place;
        cv::calibrateCamera(rest_boards, rest, size, k, d, turns, places, flags);
        cv::solvePnP(board, corners[v], k, d, turn, place);
        cv::solvePnPRefineLM(board, corners[v], k, d, turn, place);
        std::vector<cv::Point2f> predicted;
        cv::projectPoints(board, turn, place, k, d, predicted);
        for (size_t i = 0; i < predicted.size(); ++i) {
            const auto off = predicted[i] - corners[v][i];
            square += off.dot(off) / double(points);
        }
    }
    out.held_out_px = std::sqrt(square);
    return out;
}

}  // namespace

TEST_CASE("real chessboards: no worse than calibrateCamera, and better where a picture is left out",
          "[chart][opencv]") {
    double bend[2] = {0, 0};
    int which = 0;
    for (const std::string side : {"left", "right"}) {
        const auto& lens = measured(side);
        for (const auto& picture : lens.pictures) REQUIRE(picture.used);
        const auto five = calibrateCamera(lens, 0);
        const auto eight = calibrateCamera(lens, cv::CALIB_RATIONAL_MODEL);
        const double focal_px = lens.lens.focal_mm / lens.sensor.mmPerPixelX();
        const double sigma_px = lens.focal_sigma_mm / lens.sensor.mmPerPixelX();
        INFO(side << ": " << nameOf(lens.model) << ", " << lens.rms_px << " px RMS, held out "
                  << lens.held_out_rms_px << "; calibrateCamera, 5 terms " << five.rms_px << ", "
                  << five.held_out_px << "; 8 terms " << eight.rms_px << ", " << eight.held_out_px);
        CHECK(lens.rms_px <= five.rms_px);
        CHECK(lens.rms_px <= eight.rms_px);
        CHECK(lens.held_out_rms_px < five.held_out_px);
        CHECK(lens.held_out_rms_px < eight.held_out_px);
        CHECK(std::abs(focal_px - five.focal_px) < 3 * sigma_px);
        CHECK(lens.model.above + lens.model.below <= 3);
        CHECK(lens.flat.rms_px < 0.2 * lens.recorded.rms_px);
        bend[which++] = lens.shape.bend[2];
    }
    // One board was held before both cameras, which know nothing of each other.
    CHECK(bend[0] == Approx(bend[1]).margin(0.0015));
    CHECK(bend[0] > 0.003);
}

TEST_CASE("a board that no picture shows is not found, whatever the detectors drew before",
          "[chart][opencv]") {
    const auto light = readChartLight(io::readPlateHeader(kFolder + "left02.jpg"));
    BoardWish wish;
    wish.kind = BoardKind::checker;
    wish.columns = 7;
    wish.rows = 4;
    // Some of these draws show OpenCV's detectors a crooked grid of that size between the squares.
    for (uint64_t drawn = 1; drawn < 12; ++drawn) {
        cv::theRNG() = cv::RNG(drawn * 7919);
        CHECK_FALSE(findChecker(light, wish));
    }
    wish.columns = 9;
    wish.rows = 6;
    cv::theRNG() = cv::RNG(1);
    const auto once = findBoard(light, wish);
    cv::theRNG() = cv::RNG(2);
    const auto again = findBoard(light, wish);
    REQUIRE(once);
    REQUIRE(again);
    CHECK(once->px == again->px);
}

TEST_CASE("the left camera's published intrinsics, told anew", "[chart][opencv]") {
    // left_intrinsics.yml of the same package: made with square pixels (flags: 2) from other
    // corners, one picture of which is off by 1.2 px RMS.
    cv::FileStorage file(kFolder + "left_intrinsics.yml", cv::FileStorage::READ);
    cv::Mat K;
    file["camera_matrix"] >> K;
    REQUIRE(!K.empty());
    const auto& lens = measured("left");
    const double px = lens.sensor.mmPerPixelX();
    CHECK(lens.lens.focal_mm / px == Approx(K.at<double>(0, 0)).epsilon(0.008));
    CHECK(lens.lens.projection_offset_mm.x() / px + 320 ==
          Approx(K.at<double>(0, 2) + 0.5).margin(4));
    CHECK(lens.lens.projection_offset_mm.y() / px + 240 ==
          Approx(K.at<double>(1, 2) + 0.5).margin(4));
}

TEST_CASE("a ChArUco board as OpenCV prints it, and a photograph of it", "[chart][opencv]") {
    // html/charucoboard.jpg of the documentation package: 5x7 squares of 200 px, from 80 px on.
    const std::string folder = "/usr/share/doc/opencv-doc/opencv4/html/";
    BoardWish wish;
    wish.kind = BoardKind::charuco;
    wish.columns = 5;
    wish.rows = 7;
    const auto print =
        findBoard(readChartLight(io::readPlateHeader(folder + "charucoboard.jpg")), wish);
    REQUIRE(print);
    CHECK(print->dictionary == "6x6");
    REQUIRE(print->px.size() == 24);
    for (size_t i = 0; i < 24; ++i) {
        const calib::Vector2d drawn(280 + 200 * (print->point[i] % 4),
                                    280 + 200 * (print->point[i] / 4));
        CHECK((print->px[i] - drawn).norm() < 0.05);
    }
    // html/choriginal.jpg: the same board on a desk, 640x480, from a small camera.
    const auto photo =
        findBoard(readChartLight(io::readPlateHeader(folder + "choriginal.jpg")), wish);
    REQUIRE(photo);
    REQUIRE(photo->px.size() == 24);
    std::vector<cv::Point2f> board, seen;
    for (size_t i = 0; i < 24; ++i) {
        board.emplace_back(float(photo->point[i] % 4), float(photo->point[i] / 4));
        seen.emplace_back(float(photo->px[i].x()), float(photo->px[i].y()));
    }
    std::vector<cv::Point2f> flat;
    cv::perspectiveTransform(board, flat, cv::findHomography(board, seen));
    for (size_t i = 0; i < 24; ++i) CHECK(cv::norm(flat[i] - seen[i]) < 0.8);
    wish.columns = 7;
    wish.rows = 5;
    CHECK(!findBoard(readChartLight(io::readPlateHeader(folder + "choriginal.jpg")), wish));
}
