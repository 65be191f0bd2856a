#include "stitch/ties/features.h"

#include <catch2/catch.hpp>
#include <cmath>

#include "tests/unit/stitch/ties/wave_texture.h"

using namespace plateloom::stitch;
namespace calib = plateloom::calib;
namespace io = plateloom::io;

namespace {

struct Blob {
    Vector2d px;
    double sigma_px;
};

// Blobs a cell apart, each off its cell's middle by less than a pixel; every other one dark.
std::vector<Blob> blobs(int width, int height, double cell_px, double sigma_px) {
    std::vector<Blob> out;
    std::mt19937 random(7);
    std::uniform_real_distribution<double> unit(0.0, 1.0);
    for (double y = cell_px; y < height - cell_px; y += cell_px) {
        for (double x = cell_px; x < width - cell_px; x += cell_px) {
            out.push_back({{x + unit(random), y + unit(random)}, sigma_px});
        }
    }
    return out;
}

// Mean offset of found from true, over blobs that were found once.
struct Offset {
    Vector2d mean = Vector2d::Zero();
    int count = 0;
};
Offset meanOffset(int width, int height, double cell_px, double sigma_px) {
    const auto truth = blobs(width, height, cell_px, sigma_px);
    LightPicture light{cv::Mat(height, width, CV_32F, 0.0f), cv::Mat(height, width, CV_8U, 255)};
    int sign = 1;
    for (const Blob& blob : truth) {
        sign = -sign;
        const int reach = int(5 * sigma_px);
        for (int y = int(blob.px.y()) - reach; y <= int(blob.px.y()) + reach; ++y) {
            for (int x = int(blob.px.x()) - reach; x <= int(blob.px.x()) + reach; ++x) {
                const Vector2d d = Vector2d(x + 0.5, y + 0.5) - blob.px;
                light.log_light.at<float>(y, x) +=
                    float(sign * std::exp(-0.5 * d.squaredNorm() / (sigma_px * sigma_px)));
            }
        }
    }
    const PlateFeatures features = detectFeatures(light, 4000);
    Offset offset;
    for (const Blob& blob : truth) {
        double nearest = 1.0 + 0.5 * sigma_px;
        Vector2d best = Vector2d::Zero();
        for (const Vector2d& px : features.recorded_px) {
            if ((px - blob.px).norm() < nearest) {
                nearest = (px - blob.px).norm();
                best = px - blob.px;
            }
        }
        if (nearest >= 1.0 + 0.5 * sigma_px) continue;
        offset.mean += best;
        ++offset.count;
    }
    offset.mean /= std::max(1, offset.count);
    return offset;
}

calib::LensMap plainLens(int width, int height) {
    calib::Lens lens;
    lens.focal_mm = 30;
    return {lens, calib::Sensor{36, 36.0 * height / width, width, height}};
}

io::PlatePixels floatPlate(int width, int height) {
    io::PlatePixels plate;
    plate.width = width;
    plate.height = height;
    plate.full.assign(size_t(width) * height * 4, 0.0f);
    plate.clip_level = std::numeric_limits<float>::infinity();
    for (size_t i = 3; i < plate.full.size(); i += 4) plate.full[i] = 1.0f;
    return plate;
}

}  // namespace

// OpenCV 4.6's SIFT reports points a quarter of a (reduced) pixel too far right and down.
TEST_CASE("Features lie on the things they mark, on both axes, at every scale of detection") {
    constexpr double kBias_px = 0.04;
    for (const double sigma : {2.0, 4.0}) {
        const Offset one = meanOffset(960, 540, 15 * sigma, sigma);
        CAPTURE(sigma, one.mean.transpose(), one.count);
        REQUIRE(one.count > 40);
        CHECK(std::abs(one.mean.x()) < kBias_px);
        CHECK(std::abs(one.mean.y()) < kBias_px);
    }
    const Offset two = meanOffset(2048, 1152, 60, 4.0);
    CAPTURE(two.mean.transpose(), two.count);
    REQUIRE(two.count > 100);
    CHECK(std::abs(two.mean.x()) < 2 * kBias_px);
    CHECK(std::abs(two.mean.y()) < 2 * kBias_px);
}

TEST_CASE("Features spread over the plate though all contrast lies in one corner") {
    const WaveTexture texture(3, 8, 60);
    const auto light = pictureOf(960, 540, [&](double x, double y) {
        return (x < 300 && y < 200 ? 20.0 : 0.4) * texture.at(x, y);
    });
    const PlateFeatures features = detectFeatures(light, 600);
    int per_quarter[4] = {};
    for (const Vector2d& px : features.recorded_px) {
        ++per_quarter[(px.x() > 480 ? 1 : 0) + (px.y() > 270 ? 2 : 0)];
    }
    CHECK(features.recorded_px.size() <= 600);
    CHECK(features.recorded_px.size() > 400);
    CHECK(features.descriptors.rows == int(features.recorded_px.size()));
    for (const int count : per_quarter) CHECK(count > 60);
}

TEST_CASE("Equal contrast in light is equal difference in log light, at any exposure") {
    for (const float level : {1e-4f, 0.18f, 1e4f}) {
        io::PlatePixels plate = floatPlate(96, 64);
        for (int y = 0; y < 64; ++y) {
            for (int x = 0; x < 96; ++x) {
                for (int c = 0; c < 3; ++c)
                    plate.full[(size_t(y) * 96 + x) * 4 + c] = level * (x < 48 ? 1.0f : 1.5f);
            }
        }
        const LightPicture light = lightPicture(plate, plainLens(96, 64));
        const double step = light.log_light.at<float>(30, 70) - light.log_light.at<float>(30, 20);
        CHECK(step == Approx(std::log(1.5)).margin(0.02));
        CHECK(cv::countNonZero(light.valid) == 96 * 64);
    }
}

TEST_CASE("Shading is divided out of the light") {
    calib::Lens lens;
    lens.focal_mm = 30;
    lens.shading = {1.0e-3, 2e-7, 0};
    const calib::LensMap map(lens, {36, 24, 96, 64});
    io::PlatePixels plate = floatPlate(96, 64);
    for (int y = 0; y < 64; ++y) {
        for (int x = 0; x < 96; ++x) {
            for (int c = 0; c < 3; ++c)
                plate.full[(size_t(y) * 96 + x) * 4 + c] =
                    float(0.3 * map.transmission({x + 0.5, y + 0.5}));
        }
    }
    const LightPicture light = lightPicture(plate, map);
    double low, high;
    cv::minMaxLoc(light.log_light, &low, &high);
    CHECK(high - low < 1e-4);
}

TEST_CASE("Black plates, missing and clipped pixels and NaN never reach the log light") {
    io::PlatePixels plate = floatPlate(64, 48);
    const LightPicture black = lightPicture(plate, plainLens(64, 48));
    CHECK(cv::checkRange(black.log_light));
    CHECK(detectFeatures(black, 100).recorded_px.empty());

    plate.clip_level = 1.0f;
    for (size_t i = 0; i < plate.full.size(); ++i) plate.full[i] = i % 4 == 3 ? 1.0f : 0.2f;
    const auto at = [&](int x, int y) { return &plate.full[(size_t(y) * 64 + x) * 4]; };
    for (int c = 0; c < 4; ++c) at(10, 10)[c] = 0;
    at(30, 20)[1] = 1.0f;
    at(50, 30)[0] = std::nanf("");
    const LightPicture light = lightPicture(plate, plainLens(64, 48));
    CHECK(cv::checkRange(light.log_light));
    for (const auto& [x, y] : {std::pair{10, 10}, {30, 20}, {50, 30}, {51, 31}}) {
        CHECK(light.valid.at<uint8_t>(y, x) == 0);
    }
    CHECK(light.valid.at<uint8_t>(40, 10) == 255);
}

TEST_CASE("A plate kept in half gives the light of the same plate kept in float") {
    const WaveTexture texture(4, 6, 40);
    io::PlatePixels full = floatPlate(80, 60), half = floatPlate(80, 60);
    half.full.clear();
    for (size_t i = 0; i < full.full.size(); ++i) {
        if (i % 4 != 3)
            full.full[i] = float(std::exp(texture.at(double(i % 320) / 4, double(i / 320))));
        half.half.push_back(io::halfFromFloat(full.full[i]));
        full.full[i] = io::floatFromHalf(half.half.back());
    }
    const auto a = lightPicture(full, plainLens(80, 60)), b = lightPicture(half, plainLens(80, 60));
    CHECK(cv::norm(a.log_light, b.log_light, cv::NORM_INF) < 1e-6);
}

TEST_CASE("Plates of any size, even of one pixel, are looked at without harm") {
    for (const auto& [width, height] : {std::pair{1, 1}, {5, 3}, {3, 40}, {60, 20}, {2600, 40}}) {
        io::PlatePixels plate = floatPlate(width, height);
        for (int i = 0; i < width * height; ++i)
            plate.full[size_t(i) * 4 + size_t(i % 3)] = float((i * 7919) % 13);
        const LightPicture light = lightPicture(plate, plainLens(width, height));
        CHECK(cv::checkRange(light.log_light));
        const PlateFeatures features = detectFeatures(light, 100);
        CHECK(features.descriptors.rows == int(features.recorded_px.size()));
        for (const Vector2d& px : features.recorded_px) {
            CHECK((px.x() > 0 && px.x() < width && px.y() > 0 && px.y() < height));
        }
    }
}

TEST_CASE("A strip among the plates has no features, and is no reason to stop") {
    for (const auto& [width, height] : {std::pair{5000, 1}, {1, 700}, {5000, 20}}) {
        const auto features = detectFeatures(
            pictureOf(width, height, [](double x, double y) { return std::sin(x * y); }), 200);
        CHECK(features.recorded_px.empty());
        CHECK(features.descriptors.rows == 0);
    }
}
