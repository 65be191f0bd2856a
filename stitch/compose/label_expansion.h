// The seam's energy and how it is lowered.
//
// A labelling of the grid costs, for each cell, the reluctance of the plate shown there, and for
// each border between cells of two plates its length times by how much these plates differ along
// it. So seams go where plates agree and round what moved.
//
// Lowered by alpha-expansion (Boykov, Veksler and Zabih, Fast Approximate Energy Minimization via
// Graph Cuts, PAMI 23(11), 2001): one plate after the other may take any cells that it sees, all at
// once and at the best place, by one least cut; again until nothing changes.
#pragma once

#include <cstdint>
#include <vector>

#include "stitch/compose/max_flow.h"
#include "stitch/compose/overview.h"
#include "stitch/compose/plate_differences.h"

namespace plateloom::stitch {

/// A labelling to begin with: the least reluctant plate at each cell, kNoPlate where none sees it.
[[nodiscard]] std::vector<uint16_t> leastReluctant(const Overview& overview);

class LabelExpansion {
public:
    /// The overview says who sees what and how gladly it is shown. Both must outlive this.
    LabelExpansion(const Overview& overview, const PlateDifferences& differences);

    /// Lowers the energy of `labels` (one a cell, kNoPlate where none; each plate must see its
    /// cells). Only cells with `free` set change; null: all may.
    void lower(std::vector<uint16_t>& labels, const std::vector<char>* free) const;

    [[nodiscard]] double energy(const std::vector<uint16_t>& labels) const;

    /// Does the plate see the whole cell, more or less?
    [[nodiscard]] bool sees(uint16_t plate, int x, int y) const;
    /// Reluctance to show it there; it must see the cell.
    [[nodiscard]] float cost(uint16_t plate, int x, int y) const;

private:
    struct Place {
        int x, y;
    };

    [[nodiscard]] Place wrapped(int x, int y) const;
    [[nodiscard]] size_t cell(const Place& p) const { return size_t(p.y) * width_ + p.x; }
    [[nodiscard]] ptrdiff_t find(uint16_t plate, const Place& p) const;
    [[nodiscard]] float border(uint16_t a, const Place& p, uint16_t b, const Place& q,
                               float length) const;
    struct Takeable {
        std::vector<Place> nodes;
        std::vector<int> node_of;  // one a cell of the plate's part; -1: not takeable
    };
    [[nodiscard]] Takeable takeable(uint16_t plate, const std::vector<uint16_t>& labels,
                                    const std::vector<char>* free) const;
    void addCell(uint16_t plate, size_t index, const Takeable& cells,
                 const std::vector<uint16_t>& labels, MaxFlow& graph) const;
    bool expand(uint16_t plate, std::vector<uint16_t>& labels, const std::vector<char>* free) const;

    const Overview& overview_;
    const PlateDifferences& differences_;
    int width_, height_;
    std::vector<float> row_area_;      // of a cell, against one at the equator
    std::vector<float> below_length_;  // of the border between row y and the next
};

}  // namespace plateloom::stitch
