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
    [[nodiscard]] size_t wrappedCell(int x, int y) const {
        x %= width;
        if (x < 0) x += width;
        return size_t(y < 0 ? 0 : (y >= height ? height - 1 : y)) * width + x;
    }
    [[nodiscard]] uint16_t wrapped(int x, int y) const { return label[wrappedCell(x, y)]; }
};

/// Seams on their way from one place to another, over some frames of a clip: each cell belongs by
/// 1 - share to its plate in `map` and by share to its plate in `next`.
struct LabelBlend {
    LabelMap map;
    LabelMap next;    ///< of the same size; only looked at where share is above 0
    float share = 0;  ///< 0 to 1

    [[nodiscard]] bool passes() const { return share > 0; }
    /// How much of a cell is this plate's.
    [[nodiscard]] float of(size_t plate, size_t cell) const {
        const float here = map.label[cell] == plate ? 1.0f : 0.0f;
        if (!passes()) return here;
        return (1 - share) * here + (next.label[cell] == plate ? share : 0.0f);
    }
};

[[nodiscard]] LabelMap findSeams(const Overview& overview);

}  // namespace plateloom::stitch
