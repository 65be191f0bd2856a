// The panorama, composed tile by tile. A panorama pixel is a direction; it goes through a plate's
// solved camera and lens to one place on the recorded plate; one filter, sized by the local scale,
// takes the value; shading is divided out, the gain multiplied in. Seams come from a small panorama
// made first; bands (Burt and Adelson 1983) are blended within the tile and its margin. The result
// is the same, bit for bit, for any tile size and any number of threads.
#pragma once

#include <filesystem>
#include <vector>

#include "io/panorama_file.h"
#include "stitch/panorama_grid.h"
#include "stitch/placed_plate.h"
#include "stitch/plate_store.h"
#include "stitch/solve.h"

namespace plateloom::stitch {

struct ComposeSettings {
    PanoramaGrid grid;
    int tile = 1024;           ///< working tile; any multiple of 256
    int threads = 0;           ///< 0: all
    size_t preview_width = 0;  ///< 0: none; else `preview` is filled
};

struct Composed {
    double covered_share = 0;      ///< of the sphere (solid angle)
    io::Picture preview;           ///< linear RGBA
    std::vector<StageTime> times;  ///< seams, compose, write
};

[[nodiscard]] Composed compose(const std::vector<PlacedPlate>& plates, PlateStore& store,
                               const ComposeSettings& settings, io::PanoramaWriter& writer,
                               const Progress& progress);

/// The panorama width at which the sharpest plate keeps its own resolution (2 pi x its largest
/// pixels per radian on the optical axis), rounded up to a multiple of 16.
[[nodiscard]] int nativeWidth(const std::vector<PlacedPlate>& plates);

}  // namespace plateloom::stitch
