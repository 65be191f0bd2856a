// Boards painted through a known lens, for tests: a pixel's light is the mean over its area of what
// the board shows there, then blur, noise and an even exposure. Linear light.
#pragma once

#include <Eigen/Geometry>
#include <cmath>
#include <filesystem>
#include <functional>
#include <opencv2/aruco/charuco.hpp>
#include <opencv2/imgproc.hpp>
#include <random>
#include <vector>

#include "calib/angle.h"
#include "calib/chart_solve.h"
#include "io/plate_file.h"

namespace plateloom::test {

using calib::Vector2d;
using calib::Vector3d;

/// Light (0 .. 1) at a place on the board, mm from its middle; below 0: beyond the board.
using Print = std::function<float(const Vector2d& mm)>;

/// `columns` x `rows` inner corners, a white margin of one square about it.
inline Print checkerPrint(int columns, int rows, double square_mm) {
    return [=](const Vector2d& mm) {
        const double x = mm.x() / square_mm + 0.5 * (columns + 1);
        const double y = mm.y() / square_mm + 0.5 * (rows + 1);
        if (x < -1 || y < -1 || x > columns + 2 || y > rows + 2) return -1.0f;
        if (x < 0 || y < 0 || x > columns + 1 || y > rows + 1) return 0.9f;
        return (int(x) + int(y)) % 2 == 0 ? 0.04f : 0.9f;
    };
}

inline Print dotPrint(int columns, int rows, double pitch_mm, double dot_mm) {
    return [=](const Vector2d& mm) {
        const double x = mm.x() / pitch_mm + 0.5 * (columns - 1);
        const double y = mm.y() / pitch_mm + 0.5 * (rows - 1);
        if (x < -1 || y < -1 || x > columns || y > rows) return -1.0f;
        const double i = std::round(x), j = std::round(y);
        if (i < 0 || j < 0 || i > columns - 1 || j > rows - 1) return 0.9f;
        return std::hypot(x - i, y - j) * pitch_mm < 0.5 * dot_mm ? 0.04f : 0.9f;
    };
}

/// `columns` x `rows` squares, as OpenCV prints its boards.
inline Print charucoPrint(int columns, int rows, double square_mm, double marker_share) {
    constexpr int kSquare_px = 64;
    auto board = cv::aruco::CharucoBoard::create(
        columns, rows, 1.0f, float(marker_share),
        cv::aruco::getPredefinedDictionary(cv::aruco::DICT_5X5_250));
    cv::Mat print;
    board->draw({columns * kSquare_px, rows * kSquare_px}, print);
    return [=](const Vector2d& mm) {
        const double x = (mm.x() / square_mm + 0.5 * columns) * kSquare_px;
        const double y = (mm.y() / square_mm + 0.5 * rows) * kSquare_px;
        const double margin = 0.3 * kSquare_px;
        if (x < -margin || y < -margin || x > print.cols + margin || y > print.rows + margin)
            return -1.0f;
        if (x < 0 || y < 0 || x >= print.cols || y >= print.rows) return 0.9f;
        return print.at<uint8_t>(int(y), int(x)) > 127 ? 0.9f : 0.04f;
    };
}

/// Pan, tilt and roll of the board against one that faces the camera, degrees; where its middle is.
inline calib::BoardPose boardPose(double pan_deg, double tilt_deg, double roll_deg,
                                  const Vector3d& place_mm) {
    using Turn = Eigen::AngleAxisd;
    const double rad = calib::kRadPerDeg;
    const Turn facing(-0.5 * calib::kPi, Vector3d::UnitX());
    const Turn turn(Turn(pan_deg * rad, Vector3d::UnitZ()) *
                    Turn(tilt_deg * rad, Vector3d::UnitX()) *
                    Turn(roll_deg * rad, Vector3d::UnitY()) * facing);
    return {turn.angle() * turn.axis(), place_mm};
}

struct Painting {
    double blur_px = 0.7;                  ///< sigma
    double noise = 0.005;                  ///< sigma, of a white of 0.9
    int samples = 4;                       ///< along each side of a pixel
    Vector2d smear_px = Vector2d::Zero();  ///< the board moved while the shutter was open
};

inline cv::Mat paintChart(const calib::Lens& lens, const calib::Sensor& sensor, const Print& print,
                          const calib::BoardPose& pose, unsigned seed, const Painting& how = {}) {
    const calib::LensMap map(lens, sensor);
    const double angle = pose.turn.norm();
    const calib::Matrix3d boardFromCamera =
        Eigen::AngleAxisd(angle, pose.turn / angle).toRotationMatrix().transpose();
    const Vector3d eye = -(boardFromCamera * pose.place_mm);
    cv::Mat light(sensor.height_px, sensor.width_px, CV_32F);
    const auto boardPlace = [&](const Vector2d& px) -> Vector2d {
        const auto ray = map.rayFromRecorded(px);
        if (!ray) return {1e9, 1e9};
        const Vector3d at = boardFromCamera * *ray;
        return (eye - at * (eye.z() / at.z())).head<2>();
    };
    for (int y = 0; y < light.rows; ++y) {
        for (int x = 0; x < light.cols; ++x) {
            // Within a pixel the board is met on a straight lattice, near enough.
            const Vector2d middle = boardPlace({x + 0.5, y + 0.5});
            const Vector2d right = boardPlace({x + 1.0, y + 0.5}) - middle;
            const Vector2d down = boardPlace({x + 0.5, y + 1.0}) - middle;
            float sum = 0;
            for (int j = 0; j < how.samples; ++j)
                for (int i = 0; i < how.samples; ++i) {
                    const double u = (i + 0.5) / how.samples * 2 - 1;
                    const double v = (j + 0.5) / how.samples * 2 - 1;
                    const float shown = print(middle + u * right + v * down);
                    sum += shown < 0 ? 0.3f : shown;
                }
            light.at<float>(y, x) = sum / float(how.samples * how.samples);
        }
    }
    if (how.smear_px.norm() > 0) {
        cv::Mat moved = cv::Mat::zeros(light.size(), CV_32F);
        constexpr int kMoments = 9;
        for (int k = 0; k < kMoments; ++k) {
            const Vector2d by = how.smear_px * ((k + 0.5) / kMoments - 0.5);
            const cv::Matx23d shift(1, 0, by.x(), 0, 1, by.y());
            cv::Mat one;
            cv::warpAffine(light, one, shift, light.size(), cv::INTER_LINEAR, cv::BORDER_REPLICATE);
            moved += one / kMoments;
        }
        light = moved;
    }
    if (how.blur_px > 0) cv::GaussianBlur(light, light, {}, how.blur_px);
    std::mt19937 random(seed);
    std::normal_distribution<float> noise(0, float(how.noise));
    for (int y = 0; y < light.rows; ++y)
        for (int x = 0; x < light.cols; ++x) light.at<float>(y, x) += noise(random);
    return light;
}

inline void writeChart(const std::filesystem::path& path, const cv::Mat& light) {
    const bool linear = path.extension() == ".exr";
    io::Picture picture(light.cols, light.rows, 3);
    for (int y = 0; y < light.rows; ++y)
        for (int x = 0; x < light.cols; ++x)
            for (int c = 0; c < 3; ++c) {
                const float value = light.at<float>(y, x);
                // sRGB, IEC 61966-2-1, for files that are not linear.
                picture.at(x, y)[c] = linear ? value
                                      : value <= 0.0031308f
                                          ? std::max(0.0f, 12.92f * value)
                                          : 1.055f * std::pow(value, 1 / 2.4f) - 0.055f;
            }
    io::PictureTags tags;
    tags.colour_space = linear ? "scene_linear" : "sRGB";
    io::writePicture(path, picture, tags, true, {0, 0, light.cols, light.rows});
}

/// A dozen poses that carry a board of `reach_mm` (half its diagonal) through the frame, tilted to
/// all sides; it fills `share` of the frame's half diagonal.
inline std::vector<calib::BoardPose> chartPoses(const calib::Lens& lens,
                                                const calib::Sensor& sensor, double reach_mm,
                                                double share, int count) {
    std::vector<calib::BoardPose> poses;
    const double distance_mm = lens.focal_mm * reach_mm / (share * sensor.halfDiagonal_mm());
    for (int k = 0; k < count; ++k) {
        const double around = 2.4 * k, out = (k % 4) / 3.0 * (1 - 0.8 * share);
        const double x = out * std::cos(around) * 0.5 * sensor.width_mm / lens.focal_mm;
        const double z = out * std::sin(around) * 0.5 * sensor.height_mm / lens.focal_mm;
        const double far = distance_mm * (1 + 0.15 * (k % 3));
        poses.push_back(boardPose(32 * std::sin(1.7 * k), 28 * std::cos(2.3 * k), 40 * std::sin(k),
                                  {x * far, far, z * far}));
    }
    return poses;
}

}  // namespace plateloom::test
