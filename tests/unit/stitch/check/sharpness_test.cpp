#include "stitch/check/sharpness.h"

#include <catch2/catch.hpp>
#include <limits>
#include <opencv2/imgproc.hpp>
#include <random>

#include "calib/pose.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

constexpr int kWidth = 640, kHeight = 360;

// One wall of fine grain under a plain sky (which tells noise from grain), seen by all plates from
// the same place; a plate's own blur and noise.
PlateStudy studyOf(double blur_px, double gain, float noise, unsigned seed) {
    std::mt19937 grain(7), own(seed);
    std::uniform_real_distribution<float> light(0.1f, 0.5f);
    std::normal_distribution<float> normal(0, noise);
    cv::Mat wall(kHeight, kWidth, CV_32F);
    for (int y = 0; y < kHeight; ++y)
        for (int x = 0; x < kWidth; ++x)
            wall.at<float>(y, x) = 3 * y < kHeight ? 0.3f : light(grain);
    cv::GaussianBlur(wall, wall, {}, 1.0);
    if (blur_px > 0) cv::GaussianBlur(wall, wall, {}, blur_px);
    io::PlatePixels pixels;
    pixels.width = kWidth;
    pixels.height = kHeight;
    pixels.clip_level = std::numeric_limits<float>::infinity();
    for (int y = 0; y < kHeight; ++y)
        for (int x = 0; x < kWidth; ++x) {
            for (int c = 0; c < 3; ++c)
                pixels.full.push_back(float(gain) * wall.at<float>(y, x) + normal(own));
            pixels.full.push_back(1);
        }
    return studyPlate(pixels, 320);
}

}  // namespace

TEST_CASE("a soft plate shows less than its neighbours, whatever its exposure and noise",
          "[sharpness]") {
    calib::Lens lens;
    lens.focal_mm = 28;
    std::vector<PlacedPlate> plates(4);
    for (size_t i = 0; i < plates.size(); ++i) {
        plates[i].plate = int(i);
        plates[i].lens = calib::LensMap(lens, {36, 20.25, kWidth, kHeight});
    }
    const std::vector<PlateStudy> studies = {studyOf(0, 1, 0.004f, 1), studyOf(0, 0.5, 0.004f, 2),
                                             studyOf(1.2, 1, 0.004f, 3), studyOf(0, 1, 0.012f, 4)};
    plates[1].gain = {2, 2, 2};
    std::vector<const DetailCells*> detail;
    for (const auto& study : studies) detail.push_back(&study.detail);
    const auto sharpness =
        sharpnessOf(plates, detail, {{0, 1}, {0, 2}, {0, 3}, {1, 2}, {1, 3}, {2, 3}});
    for (const auto& one : sharpness) REQUIRE(one);
    CHECK(*sharpness[0] == Approx(1).margin(0.1));
    CHECK(*sharpness[1] == Approx(1).margin(0.1));
    CHECK(*sharpness[3] == Approx(1).margin(0.15));
    CHECK(*sharpness[2] < 0.6);
}

TEST_CASE("plates that share nothing textured have no sharpness", "[sharpness]") {
    calib::Lens lens;
    lens.focal_mm = 28;
    std::vector<PlacedPlate> plates(2);
    for (auto& plate : plates) plate.lens = calib::LensMap(lens, {36, 20.25, kWidth, kHeight});
    plates[1].worldFromCamera = calib::worldFromCamera({120, 0, 0});
    const PlateStudy study = studyOf(0, 1, 0.004f, 1);
    const auto sharpness = sharpnessOf(plates, {&study.detail, &study.detail}, {{0, 1}});
    CHECK_FALSE(sharpness[0]);
    CHECK_FALSE(sharpness[1]);
}
