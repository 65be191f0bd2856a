#include "stitch/seams.h"

namespace plateloom::stitch {

LabelMap findSeams(const Overview& overview) {
    LabelMap map{overview.grid.width, overview.grid.height, {}};
    map.label.assign(size_t(map.width) * map.height, kNoPlate);
    std::vector<float> best(map.label.size(), 1e30f);
    for (size_t i = 0; i < overview.plates.size(); ++i) {
        const auto& small = overview.plates[i];
        for (int y = 0; y < small.height; ++y)
            for (int x = 0; x < small.width; ++x) {
                const size_t from = small.at(x, y);
                if (small.share[from] <= 0.5f) continue;
                const size_t to = size_t(y + small.y0) * map.width + (x + small.x0) % map.width;
                if (small.cost[from] < best[to]) {
                    best[to] = small.cost[from];
                    map.label[to] = uint16_t(i);
                }
            }
    }
    return map;
}

}  // namespace plateloom::stitch
