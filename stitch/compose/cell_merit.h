// What a plate is worth at a cell of the overview against the other plates that see it: the
// resolution at which its frame shows the place.
//
// Resolution is counted in plate pixels per radian, whatever the shape of the panorama's own cells
// (near a pole a latlong cell is narrow, which says nothing about the plate). A pinhole's pixels
// lie closer together off its axis without the lens resolving more there, so no place of a frame
// counts for more than its axis; and more than the panorama's own pixels does not count either.
#pragma once

#include <cstdint>
#include <vector>

#include "calib/lens.h"
#include "stitch/compose/overview.h"

namespace plateloom::stitch {

/// Pixels per radian over a recorded frame: the square root of pixels per steradian, never above
/// the value on the optical axis.
class PixelDensity {
public:
    explicit PixelDensity(const calib::LensMap& lens);

    [[nodiscard]] float at(float x_px, float y_px) const;

private:
    static constexpr int kSteps = 16;  // along each edge of the frame
    float width_px_ = 1, height_px_ = 1;
    std::vector<float> nodes_;
};

/// Of one plate, a value for each cell of its SmallPlate.
struct CellMerits {
    std::vector<float> density;  ///< pixels per radian that the panorama can hold; 0: not seen
};

/// Adds to each plate's cost what its cells lack against the best plate at the same place. `merits`
/// is one a plate.
void addLackingMerit(const std::vector<CellMerits>& merits, Overview& overview);

}  // namespace plateloom::stitch
