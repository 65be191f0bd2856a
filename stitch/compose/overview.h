// All plates small, side by side on one coarse panorama grid: what seams and bands are made from.
// Cells are sampled through each plate's own camera and lens with a filter that does not overshoot,
// so that two plates of the same thing agree within noise, lamps included.
#pragma once

#include <vector>

#include "stitch/plates/placed_plate.h"
#include "stitch/plates/plate_store.h"
#include "stitch/resample/panorama_grid.h"

namespace plateloom::stitch {

/// One plate over its part of the coarse grid. x0 is even and in [0, grid.width); the part may run
/// past the right edge, where it goes on at the left. y0 is even, x varies fastest.
struct SmallPlate {
    int x0 = 0, y0 = 0, width = 0, height = 0;  ///< cells; width and height are even
    std::vector<float> light;                   ///< 3 a cell: log2(scene light x gain + floor)
    std::vector<float> share;   ///< valid share of the picture under the cell's filter, 0 to 1
    std::vector<float> inward;  ///< 0 on the frame's edge, rising to 1 in its middle
    std::vector<float> cost;    ///< reluctance to show this plate here, see overview.cpp and
                                ///< cell_merit.h; 0 is best

    [[nodiscard]] size_t at(int x, int y) const { return size_t(y) * width + x; }
    [[nodiscard]] bool empty() const { return width == 0; }
};

struct Overview {
    PanoramaGrid grid;    ///< width a multiple of 64, height even
    float floor = 1e-6f;  ///< light below which differences no longer count: a fraction of the
                          ///< scene's typical level
    float typical = 1;    ///< the median of the cells' luminance
    std::vector<SmallPlate> plates;  ///< in the order of the placed plates
};

/// Cells across for a panorama: about a quarter of its width, at most `most_across` (of 2048 a cell
/// is 0.18 degrees), fewer when hundreds of plates would make the small plates large together.
constexpr int kOverviewAcross = 2048;
[[nodiscard]] PanoramaGrid overviewGrid(const std::vector<PlacedPlate>& plates,
                                        const PanoramaGrid& grid,
                                        int most_across = kOverviewAcross);

/// Seams are chosen by what plates are worth against each other (cell_merit.h), which takes a look
/// at every pixel; where seams are known only the plates' light is needed.
enum class OverviewUse { seams, light };

[[nodiscard]] Overview makeOverview(const std::vector<PlacedPlate>& plates, PlateStore& store,
                                    const PanoramaGrid& panorama,
                                    OverviewUse use = OverviewUse::seams,
                                    int most_across = kOverviewAcross);

}  // namespace plateloom::stitch
