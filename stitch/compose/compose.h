// The panorama, composed tile by tile. A panorama pixel is a direction; it goes through a plate's
// solved camera and lens to one place on the recorded plate; one filter, sized by the local scale,
// takes the value; shading is divided out, the gain multiplied in. Seams (seams.h) and bands
// (bands.h) come from all plates made small, first; then a tile needs nothing but the plates that
// it shows. The result is the same, bit for bit, for any tile size and any number of threads.
#pragma once

#include <functional>
#include <vector>

#include "io/panorama_file.h"
#include "stitch/compose/seams.h"
#include "stitch/plates/placed_plate.h"
#include "stitch/plates/plate_store.h"
#include "stitch/resample/panorama_grid.h"
#include "stitch/solve/solve.h"

namespace plateloom::stitch {

struct ComposeSettings {
    PanoramaGrid grid;
    int tile = 1024;           ///< working tile; any multiple of 256
    int threads = 0;           ///< 0: all
    size_t preview_width = 0;  ///< 0: none; else `preview` is filled
    /// Where the seams run, on the overview's grid; null: where findSeams puts them.
    std::function<LabelBlend(const Overview&)> seams;
    int overview_across = kOverviewAcross;
};

struct Composed {
    double covered_share = 0;      ///< of the sphere (solid angle)
    io::Picture preview;           ///< linear RGBA
    std::vector<StageTime> times;  ///< seams, compose, write
};

/// Takes the finished tiles, RGBA, one at a time; x and y are multiples of the working tile.
using TileSink = std::function<void(int x, int y, const io::Picture& tile)>;

[[nodiscard]] Composed compose(const std::vector<PlacedPlate>& plates, PlateStore& store,
                               const ComposeSettings& settings, io::PanoramaWriter& writer,
                               const Progress& progress);
[[nodiscard]] Composed compose(const std::vector<PlacedPlate>& plates, PlateStore& store,
                               const ComposeSettings& settings, const TileSink& sink,
                               const Progress& progress);

/// The panorama width at which the sharpest plate keeps its own resolution (2 pi x its largest
/// pixels per radian on the optical axis), rounded up to a multiple of 16.
[[nodiscard]] int nativeWidth(const std::vector<PlacedPlate>& plates);

}  // namespace plateloom::stitch
