#include "stitch/moving/seam_plan.h"

#include <algorithm>
#include <array>
#include <cmath>

#include "stitch/compose/plate_offsets.h"

namespace plateloom::stitch {

namespace {

// Frames that are looked at ahead of the one that is decided.
constexpr size_t kForesight = 24;
// Differences beyond the usual that count, and how many cells of them make a crossing: a person far
// off is a cell or two wide.
constexpr float kLeastExcess = 0.15f;
constexpr double kCrossing = 1.0;
// Cells round a crossing within which the seam may move.
constexpr int kRoom = 48;

// Of a cell that the frame's edge cuts a plate shows its own part alone: what passes there, or
// shakes, is another thing to each plate, and crosses nothing.
bool isWhole(const SmallPlate& small, int x, int y, int grid_width) {
    constexpr float kWhole = 0.98f;
    const ptrdiff_t at = findCell(small, x, y, grid_width);
    return at >= 0 && small.share[size_t(at)] >= kWhole;
}

float excessOf(float now, float usual) {
    if (now < 0 || usual < 0) return 0;
    const float excess = now - usual;
    return excess > kLeastExcess ? excess : 0;
}

// The usual differences and, over them, the most that was seen in some frames.
class WindowDifferences : public PlateDifferences {
public:
    WindowDifferences(const PlateDifferences& usual, const PlateDifferences& most)
        : usual_(usual), most_(most) {}
    [[nodiscard]] float at(uint16_t a, uint16_t b, int x, int y) const override {
        const float usual = usual_.at(a, b, x, y);
        return usual + 4 * excessOf(most_.at(a, b, x, y), usual);
    }

private:
    const PlateDifferences &usual_, &most_;
};

}  // namespace

LabelBlend SeamPlan::at(int64_t frame) const {
    size_t part = 0;
    while (part + 1 < parts.size() && parts[part + 1].frame <= frame) ++part;
    if (part + 1 < parts.size() && parts[part + 1].frame - frame <= kSeamPassage) {
        const auto done = float(kSeamPassage + 1 - (parts[part + 1].frame - frame));
        return {parts[part].map, parts[part + 1].map, done / float(kSeamPassage + 1)};
    }
    return {parts[part].map, {}, 0};
}

SeamPlan SeamPlan::onGrid(int width, int height) const {
    SeamPlan out;
    for (const auto& part : parts) {
        if (part.map.width == width && part.map.height == height) {
            out.parts.push_back(part);
            continue;
        }
        LabelMap map{width, height, {}};
        map.label.reserve(size_t(width) * height);
        for (int y = 0; y < height; ++y)
            for (int x = 0; x < width; ++x)
                map.label.push_back(part.map.at(int((x + 0.5) * part.map.width / width),
                                                int((y + 0.5) * part.map.height / height)));
        out.parts.push_back({part.frame, std::move(map), part.why});
    }
    return out;
}

DifferenceTables::DifferenceTables(const Overview& overview)
    : grid_width_(overview.grid.width), plates_(overview.plates.size()) {
    tables_.resize(plates_ * plates_);
    for (size_t a = 0; a < plates_; ++a)
        for (size_t b = a + 1; b < plates_; ++b) {
            const auto &one = overview.plates[a], &other = overview.plates[b];
            if (one.empty() || other.empty()) continue;
            const int y0 = std::max(one.y0, other.y0);
            const int y1 = std::min(one.y0 + one.height, other.y0 + other.height);
            // Along x the parts lie on a circle: where the other begins, seen from this one.
            int offset = (other.x0 - one.x0) % grid_width_;
            if (offset < 0) offset += grid_width_;
            if (offset + other.width > grid_width_ && offset >= one.width) offset -= grid_width_;
            const int x0 = std::max(0, offset), x1 = std::min(one.width, offset + other.width);
            Table& table = tables_[a * plates_ + b];
            if (x1 <= x0 || y1 <= y0) continue;
            table = {(one.x0 + x0) % grid_width_, y0, x1 - x0, y1 - y0, {}};
            table.value.assign(size_t(table.width) * table.height, -1.0f);
        }
}

void DifferenceTables::fill(const Overview& overview, const std::vector<char>& absent) {
    const auto offsets = plateOffsets(overview);
    const OverviewDifferences now(overview, offsets);
    for (size_t a = 0; a < plates_; ++a)
        for (size_t b = a + 1; b < plates_; ++b) {
            Table& table = tables_[a * plates_ + b];
            if (absent[a] || absent[b]) continue;
            for (int y = 0; y < table.height; ++y)
                for (int x = 0; x < table.width; ++x)
                    table.value[size_t(y) * table.width + x] = now.at(
                        uint16_t(a), uint16_t(b), (table.x0 + x) % grid_width_, table.y0 + y);
        }
}

void keepShared(Overview& overview, const Overview& other, const std::vector<char>& absent) {
    const int width = overview.grid.width;
    for (size_t i = 0; i < overview.plates.size(); ++i) {
        if (absent[i]) continue;
        SmallPlate& small = overview.plates[i];
        for (int dy = 0; dy < small.height; ++dy)
            for (int dx = 0; dx < small.width; ++dx)
                if (findCell(other.plates[i], (small.x0 + dx) % width, small.y0 + dy, width) < 0)
                    small.share[small.at(dx, dy)] = 0;
    }
}

void DifferenceTables::takeMost(const DifferenceTables& other) {
    for (size_t t = 0; t < tables_.size(); ++t)
        for (size_t i = 0; i < tables_[t].value.size(); ++i)
            tables_[t].value[i] = std::max(tables_[t].value[i], other.tables_[t].value[i]);
}

void DifferenceTables::addShare(const DifferenceTables& other, float share) {
    for (size_t t = 0; t < tables_.size(); ++t)
        for (size_t i = 0; i < tables_[t].value.size(); ++i) {
            const float more = other.tables_[t].value[i];
            float& value = tables_[t].value[i];
            if (more >= 0) value = std::max(0.0f, value) + share * more;
        }
}

void DifferenceTables::scale(float factor) {
    for (auto& table : tables_)
        for (float& value : table.value)
            if (value > 0) value *= factor;
}

float DifferenceTables::at(uint16_t a, uint16_t b, int x, int y) const {
    const Table& table = of(a, b);
    int dx = x - table.x0;
    if (dx < 0) dx += grid_width_;
    const int dy = y - table.y0;
    if (dx >= table.width || dy < 0 || dy >= table.height) return -1;
    return table.value[size_t(dy) * table.width + dx];
}

SeamPlanner::SeamPlanner(Overview overview, DifferenceTables usual, std::vector<std::string> names)
    : overview_(std::move(overview)), usual_(std::move(usual)), names_(std::move(names)) {
    // Where no moment says anything of two plates, they can't be compared: the cost of that is the
    // expansion's own.
    const LabelExpansion expansion(overview_, usual_);
    base_ = {overview_.grid.width, overview_.grid.height, {}};
    base_.label = leastReluctant(overview_);
    expansion.lower(base_.label, nullptr);
}

SeamPlanner::Crossing SeamPlanner::crossing(const LabelMap& map,
                                            const DifferenceTables& now) const {
    Crossing out;
    bool any = false;
    double strongest = 0;
    const auto meet = [&](int x, int y, uint16_t a, uint16_t b) {
        if (a == b || a == kNoPlate || b == kNoPlate) return;
        const double excess = double(excessOf(now.at(a, b, x, y), usual_.at(a, b, x, y)));
        if (excess <= 0) return;
        if (!isWhole(overview_.plates[a], x, y, map.width) ||
            !isWhole(overview_.plates[b], x, y, map.width))
            return;
        out.excess += excess;
        if (excess > strongest) strongest = excess, out.a = a, out.b = b;
        if (!any) out.x0 = out.x1 = x, out.y0 = out.y1 = y, any = true;
        // On the circle, the copy of x nearest to what there is.
        const double middle = 0.5 * (out.x0 + out.x1);
        const int near = x - map.width * int(std::lround((x - middle) / map.width));
        out.x0 = std::min(out.x0, near), out.x1 = std::max(out.x1, near);
        out.y0 = std::min(out.y0, y), out.y1 = std::max(out.y1, y);
    };
    for (int y = 0; y < map.height; ++y)
        for (int x = 0; x < map.width; ++x) {
            const uint16_t label = map.at(x, y);
            meet(x, y, label, map.wrapped(x + 1, y));
            if (y + 1 < map.height) meet(x, y, label, map.at(x, y + 1));
        }
    return out;
}

bool SeamPlanner::isFree(const LabelMap& map, size_t from, size_t to) const {
    for (size_t i = from; i < std::min(to, ahead_.size()); ++i)
        if (crossing(map, ahead_[i].differences).excess > kCrossing) return false;
    return true;
}

// Seams moved, near the crossing alone, to where nothing crosses them from one frame to another.
LabelMap SeamPlanner::around(const LabelMap& current, const Crossing& crossing, size_t from,
                             size_t to) const {
    DifferenceTables most = ahead_[from].differences;
    for (size_t i = from + 1; i < std::min(to, ahead_.size()); ++i)
        most.takeMost(ahead_[i].differences);
    const WindowDifferences window(usual_, most);
    const LabelExpansion expansion(overview_, window);
    std::vector<char> free(current.label.size(), 0);
    for (int y = std::max(0, crossing.y0 - kRoom);
         y <= std::min(current.height - 1, crossing.y1 + kRoom); ++y)
        for (int x = crossing.x0 - kRoom; x <= crossing.x1 + kRoom; ++x)
            free[current.wrappedCell(x, y)] = 1;
    LabelMap moved = current;
    expansion.lower(moved.label, &free);
    return moved;
}

void SeamPlanner::add(int64_t frame, DifferenceTables now) {
    ahead_.push_back({frame, std::move(now)});
    if (ahead_.size() > kForesight) step();
}

// The strongest crossing of frames [from, to].
SeamPlanner::Crossing SeamPlanner::worstCrossing(const LabelMap& map, size_t from,
                                                 size_t to) const {
    Crossing worst;
    for (size_t i = from; i <= to; ++i) {
        const Crossing one = crossing(map, ahead_[i].differences);
        if (one.excess > worst.excess) worst = one;
    }
    return worst;
}

// Seams that make way from frame `when` on, as far ahead as one way round holds; where none is
// free, the one that leaves the least, and the seams as they are where none leaves much less.
LabelMap SeamPlanner::wayRound(const LabelMap& current, const Crossing& trouble, size_t soonest,
                               size_t when) const {
    LabelMap best = current;
    double best_excess = trouble.excess;
    for (size_t horizon : {kForesight, kForesight / 2, kForesight / 4, when + 1}) {
        const size_t end = std::min(ahead_.size(), std::max(horizon, when + 1));
        LabelMap moved = around(current, trouble, soonest, end);
        if (isFree(moved, when, end)) return moved;
        const double left = crossing(moved, ahead_[when].differences).excess;
        if (left < 0.7 * best_excess) best = std::move(moved), best_excess = left;
    }
    return best;
}

// Decides about the frame `kSeamPassage` after the oldest one.
void SeamPlanner::decide() {
    const bool begins = plan_.parts.empty();
    if (begins) plan_.parts.push_back({ahead_.front().frame, base_, ""});
    const LabelMap current = plan_.parts.back().map;
    // At the take's beginning seams may stand anywhere at once.
    const size_t when = begins ? 0 : size_t(kSeamPassage) + 1, soonest = begins ? 0 : 1;
    if (when >= ahead_.size()) return;
    if (!begins && ahead_[when].frame - plan_.parts.back().frame <= kSeamPassage) return;
    const Crossing trouble = worstCrossing(current, soonest, when);
    if (trouble.excess > kCrossing) {
        LabelMap moved = wayRound(current, trouble, soonest, when);
        if (moved.label == current.label) return;
        if (begins) plan_.parts.clear();
        plan_.parts.push_back(
            {ahead_[when].frame, std::move(moved),
             "something crosses " + names_[trouble.a] + " | " + names_[trouble.b]});
    } else if (!begins && current.label != base_.label && isFree(base_, soonest, ahead_.size())) {
        plan_.parts.push_back({ahead_[when].frame, base_, "the place is free again"});
    }
}

void SeamPlanner::step() {
    decide();
    ahead_.pop_front();
}

SeamPlan SeamPlanner::finish() {
    while (!ahead_.empty()) step();
    return plan_;
}

}  // namespace plateloom::stitch
