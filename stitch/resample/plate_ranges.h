// A plate looked over block by block: least and largest value, and the noise of its darks. Halves
// are compared as they are stored, so that this runs at the speed of memory.
#pragma once

#include <array>
#include <vector>

#include "io/picture.h"

namespace plateloom::stitch {

struct BlockRange {
    std::array<float, 3> low{}, high{};  ///< below 0 counts as 0
    float least_alpha = 0, most_alpha = 0;
};

struct PlateRanges {
    int block_px = 8, across = 0, down = 0;
    std::vector<BlockRange> block;

    [[nodiscard]] const BlockRange& at(int x, int y) const {
        return block[size_t(y) * size_t(across) + size_t(x)];
    }
};

/// Blocks of `block_px`, a multiple of 8, from the plate's upper left corner.
[[nodiscard]] PlateRanges plateRanges(const io::PlatePixels& plate, int block_px);

/// What is added to each channel before contrasts are taken of it: four times the noise of the
/// darkest blocks (one in ten), and at least a ten-thousandth of the median light. The noise comes
/// from second differences along rows: their mean size, for a normal distribution.
[[nodiscard]] std::array<float, 3> noiseLift(const io::PlatePixels& plate,
                                             const PlateRanges& ranges);

}  // namespace plateloom::stitch
