#include "stitch/report/report.h"

#include <atomic>
#include <catch2/catch.hpp>

#include "tests/painted_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;
using namespace plateloom::painted;

namespace {

// A light without fine detail: what a small picture still shows exactly.
double softLight(const Vector3d& direction) {
    return 1 + 0.5 * direction.x() + 0.3 * direction.y() * direction.z();
}

SmallPlates smallPlatesOf(const Job& job) {
    return {job.plates.size(), [&job](int plate) { return job.pixels[size_t(plate)]; }};
}

}  // namespace

TEST_CASE("a shrunk plate shows the same frame, edge to edge", "[report]") {
    io::PlatePixels plate;
    plate.width = 1001;
    plate.height = 563;
    for (int y = 0; y < plate.height; ++y)
        for (int x = 0; x < plate.width; ++x)
            for (const double v : {(x + 0.5) / plate.width, (y + 0.5) / plate.height, 1.0, 1.0})
                plate.half.push_back(io::halfFromFloat(float(v)));
    const auto small = shrunk(plate, 160);
    REQUIRE(small.width == 160);
    REQUIRE(small.height == 90);
    for (int y = 0; y < small.height; ++y)
        for (int x = 0; x < small.width; ++x) {
            float rgba[4];
            small.read(x, y, rgba);
            // Half a pixel of the plate, and a half's precision.
            CHECK(rgba[0] == Approx((x + 0.5) / 160).margin(0.5 / 1001 + 5e-4));
            CHECK(rgba[1] == Approx((y + 0.5) / 90).margin(0.5 / 563 + 5e-4));
            CHECK(rgba[3] == 1);
        }
}

TEST_CASE("a shrunk plate keeps what holds no picture out of its values", "[report]") {
    io::PlatePixels plate;
    plate.width = plate.height = 64;
    plate.full.assign(size_t(64) * 64 * 4, 0.0f);
    for (int y = 0; y < 64; ++y)
        for (int x = 19; x < 64; ++x)
            for (int c = 0; c < 4; ++c) plate.full[4 * (size_t(y) * 64 + size_t(x)) + c] = 1;
    const auto small = shrunk(plate, 8);
    for (int x = 0; x < 8; ++x) {
        float rgba[4];
        small.read(x, 4, rgba);
        CHECK(rgba[3] == (x >= 2 ? 1 : 0));
        CHECK(rgba[0] == rgba[3]);
    }
}

TEST_CASE("the quick panorama shows each direction's light", "[report]") {
    const Job job = wholeSphere(softLight, 0.2);
    SmallPlates small = smallPlatesOf(job);
    const io::Picture panorama = quickPanorama(job.plates, small, 512);
    REQUIRE(panorama.width == 512);
    REQUIRE(panorama.height == 256);
    for (int y = 4; y < 256; y += 9)
        for (int x = 3; x < 512; x += 17) {
            const float* rgba = panorama.at(x, y);
            REQUIRE(rgba[3] > 0);
            const double right = softLight(latlong(512).directionAt(x + 0.5, y + 0.5));
            CHECK(rgba[0] == Approx(right).epsilon(0.01));
            CHECK(rgba[2] == Approx(2 * right).epsilon(0.01));
        }
}

TEST_CASE("plates that a job reads need no second reading for its report", "[report]") {
    const Job job = wholeSphere(softLight);
    std::atomic<int> readings = 0;
    SmallPlates small(job.plates.size(), [&](int plate) {
        ++readings;
        return job.pixels[size_t(plate)];
    });
    PlateStore store(small.reader());
    for (const auto& plate : job.plates) (void)store.get(plate.plate);
    const int by_the_job = readings;
    (void)quickPanorama(job.plates, small, 256);
    CHECK(readings == by_the_job);
    CHECK(by_the_job == int(job.plates.size()));
}
