#include "stitch/job/chunk.h"

#include <catch2/catch.hpp>

using namespace plateloom::stitch;

TEST_CASE("All chunks together are all frames, each once and in order, as even as can be") {
    for (const int64_t count : {0, 1, 2, 7, 48, 1000, 1001})
        for (const int64_t of : {1, 2, 3, 5, 8, 64}) {
            int64_t next = 0, shortest = count, longest = 0;
            for (int64_t k = 1; k <= of; ++k) {
                const auto [begin, end] = chunkOf(count, Chunk{k, of});
                CHECK(begin == next);
                next = end;
                shortest = std::min(shortest, end - begin);
                longest = std::max(longest, end - begin);
            }
            CHECK(next == count);
            CHECK(longest - shortest <= 1);
        }
    CHECK(chunkOf(10, std::optional<Chunk>{}) == std::pair<int64_t, int64_t>{0, 10});
}
