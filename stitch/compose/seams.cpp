#include "stitch/compose/seams.h"

#include <algorithm>

#include "stitch/compose/label_expansion.h"
#include "stitch/compose/plate_offsets.h"

namespace plateloom::stitch {

namespace {

constexpr int kBand = 3;  // cells beside a coarser seam within which the finer one may lie

SmallPlate halved(const SmallPlate& fine) {
    SmallPlate half{fine.x0 / 2, fine.y0 / 2, fine.width / 2, fine.height / 2, {}, {}, {}, {}};
    const size_t count = size_t(half.width) * half.height;
    half.light.assign(3 * count, 0.0f);
    half.share.assign(count, 1.0f);
    half.inward.assign(count, 0.0f);
    half.cost.assign(count, 0.0f);
    for (int y = 0; y < fine.height; ++y)
        for (int x = 0; x < fine.width; ++x) {
            const size_t from = fine.at(x, y), to = half.at(x / 2, y / 2);
            for (size_t c = 0; c < 3; ++c)
                half.light[3 * to + c] += 0.25f * fine.light[3 * from + c];
            half.share[to] = std::min(half.share[to], fine.share[from]);
            half.inward[to] += 0.25f * fine.inward[from];
            half.cost[to] += fine.cost[from];  // four cells' worth
        }
    return half;
}

Overview halved(const Overview& fine) {
    Overview half;
    half.grid = fine.grid;
    half.grid.width /= 2;
    half.grid.height /= 2;
    half.floor = fine.floor;
    half.typical = fine.typical;
    for (const auto& plate : fine.plates) half.plates.push_back(halved(plate));
    return half;
}

// Cells without a label get the least reluctant plate's.
void labelTheRest(const Overview& overview, std::vector<uint16_t>& labels) {
    const auto found = leastReluctant(overview);
    for (size_t i = 0; i < labels.size(); ++i)
        if (labels[i] == kNoPlate) labels[i] = found[i];
}

// Labels of the halved grid on the full one, where their plate sees the cell.
std::vector<uint16_t> doubled(const std::vector<uint16_t>& half, const Overview& fine,
                              const LabelExpansion& expansion) {
    const int width = fine.grid.width, height = fine.grid.height;
    std::vector<uint16_t> labels(size_t(width) * height, kNoPlate);
    for (int y = 0; y < height; ++y)
        for (int x = 0; x < width; ++x) {
            const uint16_t label = half[size_t(y / 2) * (width / 2) + x / 2];
            if (label != kNoPlate && expansion.sees(label, x, y))
                labels[size_t(y) * width + x] = label;
        }
    return labels;
}

// Cells within kBand of a border between two plates.
std::vector<char> bandOfSeams(const LabelMap& map) {
    std::vector<char> band(map.label.size(), 0);
    for (int y = 0; y < map.height; ++y)
        for (int x = 0; x < map.width; ++x) {
            const uint16_t label = map.at(x, y);
            const bool seam = label != map.wrapped(x + 1, y) || label != map.wrapped(x, y + 1);
            if (!seam) continue;
            for (int j = std::max(0, y - kBand); j <= std::min(map.height - 1, y + kBand + 1); ++j)
                for (int i = x - kBand; i <= x + kBand + 1; ++i)
                    band[size_t(j) * map.width + size_t((i + map.width) % map.width)] = 1;
        }
    return band;
}

}  // namespace

LabelMap findSeams(const Overview& overview) {
    const auto offsets = plateOffsets(overview);
    LabelMap map{overview.grid.width, overview.grid.height, {}};

    // All of it on half the grid, then within a band round the seams on the whole.
    const Overview half = halved(overview);
    const OverviewDifferences half_differences(half, offsets), differences(overview, offsets);
    const LabelExpansion coarse(half, half_differences), fine(overview, differences);
    std::vector<uint16_t> half_labels = leastReluctant(half);
    coarse.lower(half_labels, nullptr);

    map.label = doubled(half_labels, overview, fine);
    labelTheRest(overview, map.label);
    const auto band = bandOfSeams(map);
    fine.lower(map.label, &band);
    return map;
}

}  // namespace plateloom::stitch
