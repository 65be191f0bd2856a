// The exposure gain on a real photograph (leuvenA.jpg of OpenCV's documentation package) and the
// same one exposed again: a stop more and a stop less light, through the sRGB curve of IEC
// 61966-2-1 into 8 bits, so that its lights clip and its shadows are quantised as a camera would
// have it. The true gain is known. (The package's leuvenA and leuvenB differ in viewpoint, so their
// ratio of light has no one true value.)
#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>

#include "io/plate_file.h"
#include "stitch/compose/exposure.h"

using namespace plateloom;

namespace {

const std::filesystem::path kPhotograph = "/usr/share/doc/opencv-doc/examples/data/leuvenA.jpg";

float throughEightBits(float linear) {
    const float light = std::min(1.0f, std::max(0.0f, linear));
    const float coded =
        light <= 0.0031308f ? 12.92f * light : 1.055f * std::pow(light, 1 / 2.4f) - 0.055f;
    const float code = std::round(255 * coded) / 255;
    return code <= 0.04045f ? code / 12.92f : std::pow((code + 0.055f) / 1.055f, 2.4f);
}

io::PlatePixels exposedAgain(const io::PlatePixels& plate, float factor) {
    io::PlatePixels again;
    again.width = plate.width;
    again.height = plate.height;
    again.clip_level = 0.995f;
    for (int y = 0; y < plate.height; ++y)
        for (int x = 0; x < plate.width; ++x) {
            float rgba[4];
            plate.read(x, y, rgba);
            for (int c = 0; c < 3; ++c) again.full.push_back(throughEightBits(factor * rgba[c]));
            again.full.push_back(rgba[3]);
        }
    return again;
}

}  // namespace

TEST_CASE(
    "The gain of a photograph exposed a stop more or less undoes that stop, clipping "
    "notwithstanding") {
    if (!std::filesystem::exists(kPhotograph)) {
        WARN("Debian's opencv-doc is not installed: not checked");
        return;
    }
    const auto photograph = io::readPlatePixels(io::readPlateHeader(kPhotograph));
    calib::Lens lens;
    lens.focal_mm = 35;
    const int w = photograph.width, h = photograph.height;
    const calib::LensMap map(lens, {36, 36.0 * h / w, w, h});
    for (const float factor : {0.5f, 2.0f}) {
        const std::vector<io::PlatePixels> pixels{photograph, exposedAgain(photograph, factor)};
        std::vector<stitch::PlacedPlate> plates(2, {0, map, calib::Matrix3d::Identity(), {}});
        plates[1].plate = 1;
        stitch::PlateStore store([&](int i) { return pixels[size_t(i)]; });
        const auto gain =
            stitch::balanceExposure(plates, store, {std::nullopt, std::nullopt}).gains;
        for (size_t c = 0; c < 3; ++c)
            CHECK(gain[1][c] / gain[0][c] * factor == Approx(1).epsilon(0.005));
    }
}
