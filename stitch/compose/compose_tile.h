// One working tile of the panorama: which plates it shows, by how much each, warped and summed.
#pragma once

#include <memory>
#include <vector>

#include "io/picture.h"
#include "stitch/compose/bands.h"
#include "stitch/compose/seams.h"
#include "stitch/plates/placed_plate.h"
#include "stitch/plates/plate_store.h"
#include "stitch/resample/panorama_grid.h"
#include "stitch/resample/warp.h"

namespace plateloom::stitch {

struct TileRect {
    int x = 0, y = 0, width = 0, height = 0;
};

/// What every tile needs and none changes: safe to share between threads.
class TileComposer {
public:
    TileComposer(const std::vector<PlacedPlate>& plates, PlateStore& store,
                 const PanoramaGrid& grid, LabelBlend labels, std::vector<GainField> gains);

    /// `tile.x` and `tile.y` must be multiples of 16. Alpha is 1 where a plate shows the direction,
    /// else the pixel is all zero.
    [[nodiscard]] io::Picture compose(const TileRect& tile) const;

private:
    class Work;

    const std::vector<PlacedPlate>& plates_;
    std::unique_ptr<SplitPlates> split_plates_;
    PanoramaGrid grid_;
    LabelBlend labels_;
    std::vector<GainField> gains_;
    std::vector<PictureCone> cones_;
};

}  // namespace plateloom::stitch
