// What a plate is worth at a cell of the overview against the other plates that see it: the
// resolution at which its frame shows the place, how sharp it is there, and how noisy.
//
// Resolution is counted in plate pixels per radian, whatever the shape of the panorama's own cells
// (near a pole a latlong cell is narrow, which says nothing about the plate). A pinhole's pixels
// lie closer together off its axis without the lens resolving more there, so no place of a frame
// counts for more than its axis; and more than the panorama's own pixels does not count either.
//
// Sharpness is the energy of the finest detail (detail_cells.h), noise taken off. Noise is the
// grain of the calmest cells nearby: what texture adds to it, it adds on all plates that show it.
// Both count only against another plate of the same place and the same light (something that passed
// through the picture is neither sharper nor noisier than what it hides), and only from a clear
// difference on, so that equally good plates keep to the middle of their frames.
#pragma once

#include <cstdint>
#include <limits>
#include <vector>

#include "calib/lens.h"
#include "io/picture.h"
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

/// Of one plate at one cell: logarithms to base 2 in units of 1/256.
struct CellMerit {
    static constexpr int16_t kUnknown = std::numeric_limits<int16_t>::min();
    static constexpr float kUnit = 1.0f / 256;

    int16_t density = kUnknown;  ///< pixels per radian, as far as the panorama can hold them
    /// Energy of the finest detail, of the noise among it, and of the calmest cells nearby: against
    /// the light squared, per radian rather than per pixel.
    int16_t detail = kUnknown, detail_noise = kUnknown, calm = kUnknown;
};

/// The merits of one plate over its frame.
class PlateMerit {
public:
    PlateMerit(const calib::LensMap& lens, const io::PlatePixels& pixels,
               float panorama_per_radian);

    [[nodiscard]] CellMerit at(float x_px, float y_px) const;

private:
    struct Node {
        float detail = 0, noise = 0, calm = 0;
        bool known = false;
    };
    void measure(const io::PlatePixels& pixels);

    PixelDensity density_;
    float panorama_per_radian_;
    int columns_ = 0, rows_ = 0;
    float per_px_x_ = 0, per_px_y_ = 0;  // cells per pixel
    std::vector<Node> nodes_;
};

/// Adds to each plate's cost what its cells lack against the best plate at the same place.
/// `merits[i]` has a value for each cell of `overview.plates[i]`, whose light is logarithmic.
void addLackingMerit(const std::vector<std::vector<CellMerit>>& merits, Overview& overview);

}  // namespace plateloom::stitch
