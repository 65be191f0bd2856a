// Converted coefficients against OpenCV's own cv::projectPoints and cv::undistortPoints (calib3d).
// OpenCV puts whole coordinates on pixel centres; here they are at + 0.5.
#include <catch2/catch.hpp>
#include <opencv2/calib3d.hpp>

#include "calib/lens.h"

using namespace plateloom::calib;

namespace {

constexpr double kExact_px = 1e-6;

struct Camera {
    const char* what;
    double fx, fy, cx, cy;
    std::array<double, 8> coefficients;  // k1 k2 p1 p2 k3 k4 k5 k6
};

const Camera kCameras[] = {
    {"barrel", 1400, 1400, 1023.5, 575.5, {-0.2, 0.05, 0, 0, 0, 0, 0, 0}},
    {"pincushion, off centre", 1800, 1800, 1040.2, 560.9, {0.12, 0.03, 0, 0, 0.01, 0, 0, 0}},
    {"tangential", 1500, 1500, 1010, 590, {-0.15, 0.04, 2e-3, -1.5e-3, -0.002, 0, 0, 0}},
    {"rational", 1300, 1300, 1030, 570, {0.4, 0.1, 1e-3, 5e-4, 0.01, 0.7, 0.2, 0.02}},
    {"pixels that are not square", 1400, 1380, 1020, 580, {-0.2, 0.05, 1e-3, 0, 0, 0, 0, 0}}};

constexpr int kWidth = 2048, kHeight = 1152;

cv::Mat matrixOf(const Camera& c) {
    return (cv::Mat_<double>(3, 3) << c.fx, 0, c.cx, 0, c.fy, c.cy, 0, 0, 1);
}
cv::Mat coefficientsOf(const Camera& c) {
    return cv::Mat(8, 1, CV_64F, const_cast<double*>(c.coefficients.data())).clone();
}
LensOnSensor converted(const Camera& c) {
    return lensFromOpenCv({c.fx, c.fy, c.cx, c.cy, c.coefficients, kWidth, kHeight}, 36.0);
}

}  // namespace

TEST_CASE("A converted lens projects where cv::projectPoints does, over the whole frame") {
    for (const Camera& camera : kCameras) {
        INFO(camera.what);
        const auto [lens, sensor] = converted(camera);
        const LensMap map(lens, sensor);
        REQUIRE_FALSE(faultOf(lens, sensor));
        std::vector<cv::Point3d> points;
        std::vector<Vector2d> ours;
        for (int j = 0; j <= 36; ++j)
            for (int i = 0; i <= 64; ++i) {
                const auto ray = map.rayFromRecorded({32.0 * i, 32.0 * j});
                REQUIRE(ray);
                points.emplace_back(ray->x(), -ray->z(), ray->y());  // x right, y down, z forward
                const auto px = map.recordedFromRay(*ray);
                REQUIRE(px);
                ours.push_back(*px);
            }
        std::vector<cv::Point2d> theirs;
        cv::projectPoints(points, cv::Vec3d(0, 0, 0), cv::Vec3d(0, 0, 0), matrixOf(camera),
                          coefficientsOf(camera), theirs);
        double worst_px = 0;
        for (size_t i = 0; i < ours.size(); ++i)
            worst_px = std::max(worst_px,
                                (ours[i] - Vector2d(theirs[i].x + 0.5, theirs[i].y + 0.5)).norm());
        CHECK(worst_px < kExact_px);
    }
}

TEST_CASE("A converted lens flattens where cv::undistortPoints does") {
    for (const Camera& camera : kCameras) {
        INFO(camera.what);
        const auto [lens, sensor] = converted(camera);
        const LensMap map(lens, sensor);
        std::vector<cv::Point2d> recorded, flat;
        for (int j = 0; j <= 9; ++j)
            for (int i = 0; i <= 16; ++i) recorded.emplace_back(128.0 * i - 0.5, 128.0 * j - 0.5);
        cv::undistortPoints(
            recorded, flat, matrixOf(camera), coefficientsOf(camera), cv::noArray(),
            matrixOf(camera),
            cv::TermCriteria(cv::TermCriteria::COUNT | cv::TermCriteria::EPS, 500, 1e-12));
        double worst_px = 0;
        for (size_t i = 0; i < recorded.size(); ++i) {
            const auto ours = map.flatFromRecorded_mm(
                mmFromPixel(sensor, {recorded[i].x + 0.5, recorded[i].y + 0.5}));
            REQUIRE(ours);
            worst_px = std::max(
                worst_px,
                (pixelFromMm(sensor, *ours) - Vector2d(flat[i].x + 0.5, flat[i].y + 0.5)).norm());
        }
        CHECK(worst_px < kExact_px);
    }
}

TEST_CASE("A converted camera keeps OpenCV's angle of view and puts its principal point in place") {
    const Camera& camera = kCameras[0];
    const auto [lens, sensor] = converted(camera);
    CHECK(angleOfView_deg(sensor.width_mm, lens.focal_mm) ==
          Approx(2 * std::atan(kWidth / 2.0 / camera.fx) * 180 / 3.14159265358979323846));
    // cx = 1023.5 is the middle of 2048 pixels in OpenCV's convention.
    CHECK(lens.projection_offset_mm.norm() < 1e-12);
}
