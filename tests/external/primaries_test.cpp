// Matrices between sets of primaries against the figures that their standards print, and against
// OpenColorIO's own.
#include "io/primaries.h"

#include <OpenColorIO/OpenColorIO.h>

#include <catch2/catch.hpp>

using namespace plateloom;
using namespace plateloom::io;

namespace {

void checkMatrix(const calib::Matrix3d& matrix, const double (&published)[9], double digits) {
    for (int row = 0; row < 3; ++row)
        for (int column = 0; column < 3; ++column)
            CHECK(matrix(row, column) == Approx(published[3 * row + column]).margin(digits));
}

}  // namespace

TEST_CASE("Luminance of red, green and blue is that of ITU-R BT.709-6 and BT.2020-2") {
    const auto rec709 = xyzFromRgb(primaries::kRec709);
    const auto rec2020 = xyzFromRgb(primaries::kRec2020);
    REQUIRE((rec709 && rec2020));
    const double luma709[] = {0.2126, 0.7152, 0.0722}, luma2020[] = {0.2627, 0.6780, 0.0593};
    for (int c = 0; c < 3; ++c) {
        CHECK((*rec709)(1, c) == Approx(luma709[c]).margin(5e-5));
        CHECK((*rec2020)(1, c) == Approx(luma2020[c]).margin(5e-5));
    }
}

TEST_CASE("ACES AP1 to XYZ is the matrix of Academy S-2014-004") {
    checkMatrix(*xyzFromRgb(primaries::kAp1),
                {0.6624541811, 0.1340042065, 0.1561876870, 0.2722287168, 0.6740817658, 0.0536895174,
                 -0.0055746495, 0.0040607335, 1.0103391003},
                2e-7);
}

TEST_CASE("Rec. 709 to Rec. 2020 is the matrix of ITU-R BT.2087-0") {
    checkMatrix(*rgbFromRgb(primaries::kRec2020, primaries::kRec709),
                {0.6274, 0.3293, 0.0433, 0.0691, 0.9195, 0.0114, 0.0164, 0.0880, 0.8956}, 5e-5);
}

TEST_CASE("ACES AP1 to Rec. 709 is OpenColorIO's matrix with Bradford adaptation") {
    namespace OCIO = OCIO_NAMESPACE;
    const auto transform = OCIO::BuiltinTransform::Create();
    transform->setStyle("UTILITY - ACES-AP1_to_LINEAR-REC709_BFD");
    const auto cpu = OCIO::Config::CreateRaw()->getProcessor(transform)->getDefaultCPUProcessor();
    const auto ours = rgbFromRgb(primaries::kRec709, primaries::kAp1);
    REQUIRE(ours);
    for (int c = 0; c < 3; ++c) {
        float rgb[3] = {0, 0, 0};
        rgb[c] = 1;
        cpu->applyRGB(rgb);
        for (int row = 0; row < 3; ++row)
            CHECK((*ours)(row, c) == Approx(double(rgb[row])).margin(2e-5));
    }
    const calib::Vector3d grey = *ours * calib::Vector3d::Ones();
    CHECK((grey - calib::Vector3d::Ones()).norm() < 1e-9);
}

TEST_CASE("What is no set of primaries has no matrix") {
    CHECK_FALSE(xyzFromRgb({0.64f, 0.33f, 0.30f}));
    CHECK_FALSE(xyzFromRgb({0, 0, 0, 0, 0, 0, 0, 0}));
    CHECK_FALSE(xyzFromRgb({0.6f, 0.3f, 0.4f, 0.3f, 0.2f, 0.3f, 0.3127f, 0.3290f}));  // one line
}
