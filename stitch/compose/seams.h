// Which plate shows which part of the panorama: one label map for the whole, on the overview's
// grid.
#pragma once

#include <cstdint>
#include <vector>

#include "stitch/compose/overview.h"

namespace plateloom::stitch {

constexpr uint16_t kNoPlate = 0xFFFF;

/// One label a cell of the overview's grid: an index into the placed plates, or kNoPlate.
struct LabelMap {
    int width = 0, height = 0;
    std::vector<uint16_t> label;

    [[nodiscard]] uint16_t at(int x, int y) const { return label[size_t(y) * width + x]; }
    /// x wraps, y stops at the poles.
    [[nodiscard]] uint16_t wrapped(int x, int y) const {
        x %= width;
        if (x < 0) x += width;
        return at(x, y < 0 ? 0 : (y >= height ? height - 1 : y));
    }
};

[[nodiscard]] LabelMap findSeams(const Overview& overview);

}  // namespace plateloom::stitch
