#include "stitch/compose/label_expansion.h"

#include <algorithm>
#include <cmath>

#include "stitch/compose/seams.h"

namespace plateloom::stitch {

namespace {

constexpr int kMostRounds = 5;
constexpr float kBorderCost = 0.004f;  // of any border, so that seams are short
constexpr float kBlindCost = 1.0f;     // where the two plates can't be compared

}  // namespace

LabelExpansion::LabelExpansion(const Overview& overview, const PlateDifferences& differences)
    : overview_(overview),
      differences_(differences),
      width_(overview.grid.width),
      height_(overview.grid.height) {
    const bool latlong = overview.grid.projection == Projection::equirectangular;
    const auto length_at = [&](double y) {
        return latlong ? float(std::sin(3.14159265358979 * std::min(1.0, y / height_))) : 1.0f;
    };
    for (int y = 0; y < height_; ++y) {
        row_area_.push_back(length_at(y + 0.5));
        below_length_.push_back(length_at(y + 1));
    }
}

LabelExpansion::Place LabelExpansion::wrapped(int x, int y) const {
    return {x < 0 ? x + width_ : (x >= width_ ? x - width_ : x), y};
}

ptrdiff_t LabelExpansion::find(uint16_t plate, const Place& p) const {
    return findCell(overview_.plates[plate], p.x, p.y, width_);
}

std::vector<uint16_t> leastReluctant(const Overview& overview) {
    const int width = overview.grid.width;
    const size_t count = size_t(width) * overview.grid.height;
    std::vector<float> least(count, 1e30f);
    std::vector<uint16_t> labels(count, kNoPlate);
    for (size_t i = 0; i < overview.plates.size(); ++i) {
        const auto& small = overview.plates[i];
        for (int dy = 0; dy < small.height; ++dy)
            for (int dx = 0; dx < small.width; ++dx) {
                const int x = (small.x0 + dx) % width, y = small.y0 + dy;
                const size_t to = size_t(y) * width + x;
                const ptrdiff_t at = findCell(small, x, y, width);
                if (at < 0 || small.cost[size_t(at)] >= least[to]) continue;
                least[to] = small.cost[size_t(at)];
                labels[to] = uint16_t(i);
            }
    }
    return labels;
}

bool LabelExpansion::sees(uint16_t plate, int x, int y) const {
    return find(plate, {x, y}) >= 0;
}

float LabelExpansion::cost(uint16_t plate, int x, int y) const {
    return row_area_[size_t(y)] * overview_.plates[plate].cost[size_t(find(plate, {x, y}))];
}

// What it costs to show plate a at p and plate b at its neighbour q.
float LabelExpansion::border(uint16_t a, const Place& p, uint16_t b, const Place& q,
                             float length) const {
    if (a == b) return 0;
    const float at_p = differences_.at(a, b, p.x, p.y), at_q = differences_.at(a, b, q.x, q.y);
    float between = kBlindCost;
    if (at_p >= 0 && at_q >= 0)
        between = 0.5f * (at_p + at_q);
    else if (at_p >= 0 || at_q >= 0)
        between = std::max(at_p, at_q);
    return length * (kBorderCost + between);
}

// The cells that the plate may take: it sees them, and another plate has them now.
LabelExpansion::Takeable LabelExpansion::takeable(uint16_t plate,
                                                  const std::vector<uint16_t>& labels,
                                                  const std::vector<char>* free) const {
    const auto& small = overview_.plates[plate];
    Takeable cells;
    cells.node_of.assign(small.share.size(), -1);
    for (int dy = 0; dy < small.height; ++dy)
        for (int dx = 0; dx < small.width; ++dx) {
            const Place p = wrapped(small.x0 + dx, small.y0 + dy);
            const uint16_t label = labels[cell(p)];
            if (label == kNoPlate || label == plate || find(plate, p) < 0) continue;
            if (free && !(*free)[cell(p)]) continue;
            cells.node_of[small.at(dx, dy)] = int(cells.nodes.size());
            cells.nodes.push_back(p);
        }
    return cells;
}

// One cell's costs in the graph. Borders with cells that can't change are its own; a border with
// another takeable cell is a link, added once, by the cell on its left or above.
void LabelExpansion::addCell(uint16_t plate, size_t index, const Takeable& cells,
                             const std::vector<uint16_t>& labels, MaxFlow& graph) const {
    const Place p = cells.nodes[index];
    const uint16_t label = labels[cell(p)];
    float take = cost(plate, p.x, p.y), keep = cost(label, p.x, p.y);
    const auto meet = [&](const Place& q, float length, bool adds_link) {
        const uint16_t other = labels[cell(q)];
        if (other == kNoPlate) return;
        const ptrdiff_t at = find(plate, q);
        const int node = at < 0 ? -1 : cells.node_of[size_t(at)];
        if (node < 0) {
            keep += border(label, p, other, q, length);
            take += border(plate, p, other, q, length);
        } else if (adds_link) {
            // Kolmogorov and Zabih, What Energy Functions Can Be Minimized via Graph Cuts?, PAMI
            // 26(2), 2004; the little that is not regular is cut off.
            const float both_keep = border(label, p, other, q, length);
            const float q_takes = border(label, p, plate, q, length);
            const float p_takes = border(plate, p, other, q, length);
            take += p_takes - both_keep;
            graph.addTerminals(node, -p_takes, 0);
            graph.addLink(int(index), node, std::max(0.0f, q_takes + p_takes - both_keep), 0);
        }
    };
    meet(wrapped(p.x + 1, p.y), 1, true);
    meet(wrapped(p.x - 1, p.y), 1, false);
    if (p.y + 1 < height_) meet({p.x, p.y + 1}, below_length_[size_t(p.y)], true);
    if (p.y > 0) meet({p.x, p.y - 1}, below_length_[size_t(p.y) - 1], false);
    graph.addTerminals(int(index), take, keep);
}

bool LabelExpansion::expand(uint16_t plate, std::vector<uint16_t>& labels,
                            const std::vector<char>* free) const {
    const Takeable cells = takeable(plate, labels, free);
    const size_t count = cells.nodes.size();
    // The source keeps the label, the sink takes the plate.
    MaxFlow graph(int(count), 2 * int(count));
    for (size_t i = 0; i < count; ++i) addCell(plate, i, cells, labels, graph);
    graph.solve();
    bool changed = false;
    for (size_t i = 0; i < count; ++i) {
        if (graph.withSource(int(i))) continue;
        labels[cell(cells.nodes[i])] = plate;
        changed = true;
    }
    return changed;
}

void LabelExpansion::lower(std::vector<uint16_t>& labels, const std::vector<char>* free) const {
    double before = energy(labels);
    for (int round = 0; round < kMostRounds; ++round) {
        bool changed = false;
        for (size_t plate = 0; plate < overview_.plates.size(); ++plate) {
            if (overview_.plates[plate].empty()) continue;
            changed |= expand(uint16_t(plate), labels, free);
        }
        const double after = energy(labels);
        // What is left to gain is not worth another round.
        if (!changed || after > 0.999 * before) return;
        before = after;
    }
}

double LabelExpansion::energy(const std::vector<uint16_t>& labels) const {
    double sum = 0;
    for (int y = 0; y < height_; ++y)
        for (int x = 0; x < width_; ++x) {
            const Place p{x, y}, right = wrapped(x + 1, y), below{x, y + 1};
            const uint16_t label = labels[cell(p)];
            if (label == kNoPlate) continue;
            sum += double(cost(label, x, y));
            if (labels[cell(right)] != kNoPlate)
                sum += double(border(label, p, labels[cell(right)], right, 1));
            if (y + 1 < height_ && labels[cell(below)] != kNoPlate)
                sum +=
                    double(border(label, p, labels[cell(below)], below, below_length_[size_t(y)]));
        }
    return sum;
}

}  // namespace plateloom::stitch
