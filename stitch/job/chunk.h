// A job in chunks, one for each machine: `--chunk 2/4` is the second of four runs of frames that
// follow one another.
#pragma once

#include <cstdint>
#include <optional>
#include <utility>

namespace plateloom::stitch {

/// The `number`-th (from 1) of `of` equal runs.
struct Chunk {
    int64_t number = 1, of = 1;
};

/// Indices [begin, end) of `count` frames. All chunks together are all frames, each once, in order;
/// they differ by one frame at most. Where there are more chunks than frames some are empty.
[[nodiscard]] inline std::pair<int64_t, int64_t> chunkOf(int64_t count, const Chunk& chunk) {
    const auto begins = [&](int64_t k) {
        return count / chunk.of * k + count % chunk.of * k / chunk.of;
    };
    return {begins(chunk.number - 1), begins(chunk.number)};
}

[[nodiscard]] inline std::pair<int64_t, int64_t> chunkOf(int64_t count,
                                                         const std::optional<Chunk>& chunk) {
    return chunkOf(count, chunk.value_or(Chunk{}));
}

/// Whether this is where a job's things are made that its chunks share.
[[nodiscard]] inline bool isFirst(const std::optional<Chunk>& chunk) {
    return !chunk || chunk->number == 1;
}

}  // namespace plateloom::stitch
