#include "stitch/plates/light_store.h"

#include <atomic>
#include <catch2/catch.hpp>
#include <thread>

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

std::vector<Plate> plates(int count) {
    std::vector<Plate> out(count);
    for (auto& plate : out) {
        plate.sensor = {36, 20.25, 64, 36};
        plate.lens.focal_mm = 24;
    }
    return out;
}

io::PlatePixels grey(int plate) {
    io::PlatePixels pixels;
    pixels.width = 64;
    pixels.height = 36;
    pixels.full.assign(size_t(64) * 36 * 4, 0.1f * float(plate + 1));
    for (size_t i = 3; i < pixels.full.size(); i += 4) pixels.full[i] = 1;
    return pixels;
}

constexpr size_t kPictureBytes = size_t(64) * 36 * 5;

}  // namespace

TEST_CASE("A light picture is kept while there is room and made again when there is not") {
    const auto set = plates(3);
    PlateStore pixels([](int plate) { return grey(plate); });
    LightStore lights(set, pixels, 2 * kPictureBytes);
    const std::weak_ptr<const LightPicture> first = lights.get(0);
    CHECK_FALSE(first.expired());
    (void)lights.get(1);
    CHECK(lights.get(0) == first.lock());  // asked for again: 1 is now the oldest
    const std::weak_ptr<const LightPicture> second = lights.get(1);
    (void)lights.get(2);
    CHECK(first.expired());
    CHECK_FALSE(second.expired());
    CHECK(lights.get(0)->log_light.size() == cv::Size(64, 36));
}

TEST_CASE("Whoever holds a light picture keeps it, whatever the store drops") {
    const auto set = plates(2);
    PlateStore pixels([](int plate) { return grey(plate); });
    LightStore lights(set, pixels, 0);
    const auto held = lights.get(0);
    (void)lights.get(1);
    CHECK(held->log_light.at<float>(5, 5) == lights.get(0)->log_light.at<float>(5, 5));
}

TEST_CASE("A plate that several threads want at once is looked at once") {
    const auto set = plates(1);
    std::atomic<int> reads = 0;
    PlateStore pixels(
        [&](int plate) {
            ++reads;
            return grey(plate);
        },
        0);
    LightStore lights(set, pixels, 10 * kPictureBytes);
    std::vector<std::shared_ptr<const LightPicture>> got(8);
    std::vector<std::thread> threads;
    for (auto& picture : got) threads.emplace_back([&] { picture = lights.get(0); });
    for (auto& thread : threads) thread.join();
    CHECK(reads == 1);
    for (const auto& picture : got) CHECK(picture == got[0]);
}
