// By how much two plates differ at a cell of the overview's grid: what a seam between them would
// show there.
#pragma once

#include <array>
#include <cstdint>
#include <vector>

#include "stitch/compose/overview.h"

namespace plateloom::stitch {

class PlateDifferences {
public:
    virtual ~PlateDifferences() = default;
    /// 0 (alike) to 2; a difference of 0.1 stop comes to half of itself, smaller ones, which are
    /// noise, to ever less. Below 0 where one of the two doesn't see the cell. `x` and `y` are
    /// within the grid.
    [[nodiscard]] virtual float at(uint16_t a, uint16_t b, int x, int y) const = 0;
};

/// Does the plate see more than half of the cell?
[[nodiscard]] inline bool seesCell(const SmallPlate& small, size_t at) {
    return small.share[at] > 0.5f;
}
/// Index of a cell in a small plate that sees it, else -1.
[[nodiscard]] ptrdiff_t findCell(const SmallPlate& small, int x, int y, int grid_width);

/// Of one overview. `offsets` are the plates' left-over exposures (plate_offsets.h), which are no
/// difference that a seam should avoid. Both must outlive this.
class OverviewDifferences : public PlateDifferences {
public:
    OverviewDifferences(const Overview& overview, const std::vector<std::array<float, 3>>& offsets)
        : overview_(overview), offsets_(offsets) {}
    [[nodiscard]] float at(uint16_t a, uint16_t b, int x, int y) const override;

private:
    const Overview& overview_;
    const std::vector<std::array<float, 3>>& offsets_;
};

}  // namespace plateloom::stitch
