#include "stitch/resample/plate_ranges.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace plateloom::stitch {

namespace {

constexpr int kLanes = 32;  // 8 pixels

// Halves of at least 0 order as their bits do; read as signed numbers the others are below 0.
int16_t ordered(uint16_t half) {
    return int16_t(half);
}
float ordered(float value) {
    return value;
}
float valueOf(int16_t ordered) {
    return io::floatFromHalf(uint16_t(ordered));
}
float valueOf(float ordered) {
    return ordered;
}

template <class Sample>
using Ordered = decltype(ordered(Sample()));

template <class Sample>
struct Lanes {
    Ordered<Sample> low[kLanes], high[kLanes];

    Lanes() {
        std::fill_n(low, kLanes, std::numeric_limits<Ordered<Sample>>::max());
        std::fill_n(high, kLanes, Ordered<Sample>(0));
    }
    void include(const Sample* from) {
        for (int i = 0; i < kLanes; ++i) {
            const auto v = std::max(ordered(from[i]), Ordered<Sample>(0));
            low[i] = std::min(low[i], v);
            high[i] = std::max(high[i], v);
        }
    }
    void include(const Sample* from, int count) {
        for (int i = 0; i < count; ++i) {
            const auto v = std::max(ordered(from[i]), Ordered<Sample>(0));
            low[i] = std::min(low[i], v);
            high[i] = std::max(high[i], v);
        }
    }
    [[nodiscard]] BlockRange range() const {
        Ordered<Sample> least[4], most[4];
        for (int c = 0; c < 4; ++c) {
            least[c] = low[c];
            most[c] = high[c];
            for (int i = c; i < kLanes; i += 4) {
                least[c] = std::min(least[c], low[i]);
                most[c] = std::max(most[c], high[i]);
            }
        }
        BlockRange range;
        for (size_t c = 0; c < 3; ++c) {
            range.low[c] = valueOf(least[c]);
            range.high[c] = valueOf(most[c]);
        }
        range.least_alpha = valueOf(least[3]);
        range.most_alpha = valueOf(most[3]);
        return range;
    }
};

template <class Sample>
void findRanges(const Sample* data, int width, int height, PlateRanges& ranges) {
    const int block = ranges.block_px;
    for (int by = 0; by < ranges.down; ++by) {
        std::vector<Lanes<Sample>> lanes(static_cast<size_t>(ranges.across));
        const int y1 = std::min((by + 1) * block, height);
        for (int y = by * block; y < y1; ++y) {
            const Sample* row = data + size_t(y) * size_t(width) * 4;
            for (int bx = 0; bx < ranges.across; ++bx) {
                const int end = std::min((bx + 1) * block, width) * 4;
                int i = bx * block * 4;
                for (; i + kLanes <= end; i += kLanes) lanes[size_t(bx)].include(row + i);
                if (i < end) lanes[size_t(bx)].include(row + i, end - i);
            }
        }
        for (const auto& one : lanes) ranges.block.push_back(one.range());
    }
}

struct DarkBlock {
    float mean = 0, noise = 0;
};

// Mean light and noise of a block's channel, by every second row.
DarkBlock studyBlock(const io::PlatePixels& plate, int x0, int y0, int c) {
    constexpr int kSide = 16;
    double sum = 0, difference = 0;
    int count = 0;
    for (int y = y0; y < y0 + kSide; y += 2) {
        float value[kSide];
        for (int x = 0; x < kSide; ++x) {
            float rgba[4];
            plate.read(x0 + x, y, rgba);
            value[x] = rgba[c];
            sum += rgba[c];
        }
        for (int x = 1; x + 1 < kSide; ++x, ++count)
            difference += std::abs(value[x - 1] - 2 * value[x] + value[x + 1]);
    }
    // The mean size of a normal deviate is sqrt(2 / pi) of its sigma; second differences of white
    // noise have a variance of 6.
    return {float(sum / (kSide * kSide / 2)),
            float(difference / count * std::sqrt(0.5 * 3.141592653589793 / 6))};
}

float quantile(std::vector<float> values, double share) {
    if (values.empty()) return 0;
    const auto nth = values.begin() + ptrdiff_t(share * double(values.size() - 1));
    std::nth_element(values.begin(), nth, values.end());
    return *nth;
}

}  // namespace

PlateRanges plateRanges(const io::PlatePixels& plate, int block_px) {
    PlateRanges ranges;
    ranges.block_px = block_px;
    ranges.across = (plate.width + block_px - 1) / block_px;
    ranges.down = (plate.height + block_px - 1) / block_px;
    ranges.block.reserve(size_t(ranges.across) * size_t(ranges.down));
    if (plate.isHalf())
        findRanges(plate.half.data(), plate.width, plate.height, ranges);
    else
        findRanges(plate.full.data(), plate.width, plate.height, ranges);
    return ranges;
}

std::array<float, 3> noiseLift(const io::PlatePixels& plate, const PlateRanges& ranges) {
    constexpr int kMostBlocks = 1000;
    constexpr float kSigmas = 4, kShareOfMedian = 1e-4f, kLeast = 1e-9f;
    const size_t every = ranges.block.size() / kMostBlocks + 1;
    std::array<float, 3> lift{};
    for (int c = 0; c < 3; ++c) {
        std::vector<DarkBlock> blocks;
        std::vector<float> means;
        for (size_t i = 0; i < ranges.block.size(); i += every) {
            const int x0 = int(i % size_t(ranges.across)) * ranges.block_px;
            const int y0 = int(i / size_t(ranges.across)) * ranges.block_px;
            if (ranges.block[i].least_alpha < 1 || x0 + 16 > plate.width || y0 + 16 > plate.height)
                continue;
            blocks.push_back(studyBlock(plate, x0, y0, c));
            means.push_back(blocks.back().mean);
        }
        const float dark = quantile(means, 0.1);
        std::vector<float> noise;
        for (const DarkBlock& block : blocks)
            if (block.mean <= dark) noise.push_back(block.noise);
        lift[size_t(c)] = std::max(
            {kSigmas * quantile(noise, 0.25), kShareOfMedian * quantile(means, 0.5), kLeast});
    }
    return lift;
}

}  // namespace plateloom::stitch
