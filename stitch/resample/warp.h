// One plate as the panorama sees it: panorama pixel -> world direction -> camera ray -> recorded
// position -> one filtered value, shading divided out and the plate's gain multiplied in.
#pragma once

#include <memory>

#include "io/picture.h"
#include "stitch/plates/placed_plate.h"
#include "stitch/resample/panorama_grid.h"
#include "stitch/resample/position_lattice.h"
#include "stitch/resample/split_plates.h"

namespace plateloom::stitch {

/// The cone about the optical axis that holds the whole picture.
struct PictureCone {
    calib::Vector3d axis = calib::Vector3d::UnitY();  ///< in the world
    double reach_rad = 0;                             ///< the corner farthest from the axis
};
[[nodiscard]] PictureCone pictureCone(const PlacedPlate& plate);

/// Pixels between lattice nodes: a power of two up to 16 that keeps two nodes within 0.0125 rad,
/// where the cubic is good to 0.0002 plate pixels for any lens that a flat picture can show.
[[nodiscard]] int latticeStep(const PanoramaGrid& grid);

/// Recorded pixels per panorama pixel, at the most.
[[nodiscard]] double largestScale(const PlacedPlate& plate, const PanoramaGrid& grid);

/// The plate's lattice over a range of cells of the panorama. Far nodes are told from the cone.
[[nodiscard]] PositionLattice panoramaLattice(const PlacedPlate& plate, const PanoramaGrid& grid,
                                              const CellRange& cells, int step,
                                              double tolerance_px);

/// Warps cells of the panorama out of one plate; its pixels are asked for when a cell first shows
/// some of them, and held from then on. For one thread; plate and plates must outlive it.
class PlateWarp {
public:
    PlateWarp(const PlacedPlate& plate, SplitPlates& plates, const PanoramaGrid& grid,
              const CellRange& cells);

    /// RGBA of cell (cx, cy), step x step pixels: the colour itself, not associated, and the
    /// plate's alpha as its weight; RGB 0 where it is 0. False when the plate shows nothing of the
    /// cell (`rgba` is then untouched).
    bool cell(int cx, int cy, float* rgba);

private:
    const PlacedPlate& plate_;
    SplitPlates& plates_;
    SplitPlate pixels_;
    PositionLattice lattice_;
    std::vector<SamplePoint> points_;
};

/// Less of the light than this can't be divided out.
inline constexpr float kLeastTransmission = 0.01f;

/// Divides the lens's shading out of `count` values taken at `points` and multiplies the plate's
/// gain in. Where the lens lets no light through, nothing can be recovered: alpha becomes 0.
void unshade(const PlacedPlate& plate, const SamplePoint* points, size_t count, float* rgba);

}  // namespace plateloom::stitch
