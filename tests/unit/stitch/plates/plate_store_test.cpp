#include "stitch/plates/plate_store.h"

#include <atomic>
#include <catch2/catch.hpp>
#include <thread>

#include "io/input_error.h"

using namespace plateloom;
using stitch::PlateStore;

namespace {

io::PlatePixels pixelsOf(int plate) {
    io::PlatePixels pixels;
    pixels.width = 4;
    pixels.height = 2;
    pixels.full.assign(32, float(plate));
    return pixels;
}

}  // namespace

TEST_CASE("A plate is read once, however many threads ask for it at the same time") {
    std::atomic<int> reads = 0;
    PlateStore store([&](int plate) {
        ++reads;
        std::this_thread::yield();
        return pixelsOf(plate);
    });
    std::vector<std::thread> threads;
    std::atomic<int> right = 0;
    for (int i = 0; i < 8; ++i)
        threads.emplace_back([&] { right += store.get(3)->full.front() == 3.0f; });
    for (auto& thread : threads) thread.join();
    CHECK(reads == 1);
    CHECK(right == 8);
    CHECK(store.pixelsRead() == 8);
}

TEST_CASE("The plates used least recently are dropped, but not from whoever holds one") {
    int reads = 0;
    PlateStore store(
        [&](int plate) {
            ++reads;
            return pixelsOf(plate);
        },
        2 * 32 * sizeof(float));
    const auto held = store.get(0);
    CHECK(store.get(1)->full.front() == 1);
    CHECK(store.get(0)->full.front() == 0);
    CHECK(store.get(2)->full.front() == 2);  // drops 1
    CHECK(reads == 3);
    CHECK(store.get(0)->full.front() == 0);
    CHECK(reads == 3);
    CHECK(store.get(1)->full.front() == 1);
    CHECK(reads == 4);
    CHECK(held->full.front() == 0);
}

TEST_CASE("A plate larger than the bound is still given") {
    PlateStore store(pixelsOf, 1);
    CHECK(store.get(5)->full.front() == 5);
    CHECK(store.get(6)->full.front() == 6);
}

TEST_CASE("A damaged plate's fault reaches everyone who asks, and may be tried again") {
    int reads = 0;
    PlateStore store([&](int plate) {
        if (++reads == 1) throw io::InputError("a.exr", "is damaged");
        return pixelsOf(plate);
    });
    CHECK_THROWS_AS(store.get(0), io::InputError);
    CHECK(store.get(0)->full.front() == 0);
}
