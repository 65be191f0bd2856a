// Seams over a take. They stay where they are, where plates agree all the time, unless something
// crosses one; then the seam has moved out of its way beforehand, over a few frames, stays where
// nothing crosses it for as long as can be foreseen, and goes back when the place is free again.
//
// Everything is decided once, by looking a bounded time ahead; after that a frame needs nothing but
// the plan. Cost and cut are those of stills (compose/label_expansion.h), with differences gathered
// over time.
#pragma once

#include <cstdint>
#include <deque>
#include <memory>
#include <string>
#include <vector>

#include "stitch/compose/label_expansion.h"
#include "stitch/compose/overview.h"
#include "stitch/compose/seams.h"

namespace plateloom::stitch {

/// Where the seams run from a frame on, wholly; over the `kSeamPassage` frames before it they pass
/// there from where they were.
struct SeamsFrom {
    int64_t frame = 0;
    LabelMap map;     ///< labels are clips
    std::string why;  ///< "", "something crosses cam2 | cam3", "the place is free again"
};

constexpr int kSeamPassage = 4;

struct SeamPlan {
    std::vector<SeamsFrom> parts;  ///< in time, at least one; further apart than kSeamPassage

    [[nodiscard]] LabelBlend at(int64_t frame) const;
    /// The same on another grid (of the same projection): the label of the nearest cell.
    [[nodiscard]] SeamPlan onGrid(int width, int height) const;
};

/// How all pairs of plates differ over the part of the grid that both see, at one moment or
/// gathered over some.
class DifferenceTables : public PlateDifferences {
public:
    DifferenceTables() = default;
    /// Room for all pairs of the overview's plates. Tables that are taken together have one room:
    /// copies of one empty one.
    explicit DifferenceTables(const Overview& overview);
    /// As OverviewDifferences says, in a room that has nothing in it yet. Plates marked `absent`
    /// differ from nothing. The overview may be another moment's than the room's, its plates turned
    /// a little: what of it lies outside is left out, and where it does not reach is not seen.
    void fill(const Overview& overview, const std::vector<char>& absent);
    void takeMost(const DifferenceTables& other);
    void addShare(const DifferenceTables& other, float share);
    void scale(float factor);

    [[nodiscard]] float at(uint16_t a, uint16_t b, int x, int y) const override;

private:
    struct Table {
        int x0 = 0, y0 = 0, width = 0, height = 0;
        std::vector<float> value;  // below 0: not seen by both
    };
    [[nodiscard]] const Table& of(uint16_t a, uint16_t b) const {
        return tables_[size_t(std::min(a, b)) * plates_ + std::max(a, b)];
    }
    int grid_width_ = 0;
    size_t plates_ = 0;
    std::vector<Table> tables_;  // a * plates + b, a < b
};

/// Leaves to each plate of the overview only cells that it shows at the other moment as well;
/// plates that are `absent` then say nothing. For plates that are turned from frame to frame.
void keepShared(Overview& overview, const Overview& other, const std::vector<char>& absent);

class SeamPlanner {
public:
    /// `overview`: the plates as they stand, at any moment; who sees what, and how gladly it is
    /// shown, is taken from it for the whole take. `usual`: differences gathered over moments
    /// spread over the take. Names are the clips', for `why`.
    SeamPlanner(Overview overview, DifferenceTables usual, std::vector<std::string> names);

    /// Frames one after the other, in order.
    void add(int64_t frame, DifferenceTables now);
    [[nodiscard]] SeamPlan finish();

private:
    struct Ahead {
        int64_t frame = 0;
        DifferenceTables differences;
    };
    struct Crossing {
        double excess = 0;                   ///< of difference along the seam, in cells
        int x0 = 0, y0 = 0, x1 = 0, y1 = 0;  ///< where, cells; x0 may be below 0
        uint16_t a = 0, b = 0;               ///< where it is strongest
    };
    [[nodiscard]] Crossing crossing(const LabelMap& map, const DifferenceTables& now) const;
    [[nodiscard]] bool isFree(const LabelMap& map, size_t from, size_t to) const;
    [[nodiscard]] Crossing worstCrossing(const LabelMap& map, size_t from, size_t to) const;
    void decide();
    void step();  ///< decides, and lets the oldest frame go
    [[nodiscard]] LabelMap around(const LabelMap& current, const Crossing& crossing, size_t from,
                                  size_t to) const;
    [[nodiscard]] LabelMap wayRound(const LabelMap& current, const Crossing& trouble,
                                    size_t soonest, size_t when) const;

    Overview overview_;
    DifferenceTables usual_;
    std::vector<std::string> names_;
    LabelMap base_;
    std::deque<Ahead> ahead_;
    SeamPlan plan_;
};

}  // namespace plateloom::stitch
