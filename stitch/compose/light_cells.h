// A plate's light by cells of 8 x 8 pixels: what exposure and shading are measured from. Averages
// of 64 pixels hold little noise, and a hair of misregistration hardly counts in them.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "io/picture.h"
#include "stitch/plates/placed_plate.h"
#include "stitch/plates/plate_store.h"

namespace plateloom::stitch {

struct LightCells {
    static constexpr int kCell_px = 8;
    static constexpr float kNone = -1;  ///< in a cell's red: clipped, missing, or outside the lens

    int width = 0, height = 0;
    std::vector<std::array<float, 3>> light;  ///< shading divided out
    std::vector<calib::Vector3d> ray;         ///< world direction of the cell's centre

    [[nodiscard]] bool valid(int x, int y) const {
        return light[size_t(y) * width + x][0] != kNone;
    }
    [[nodiscard]] static calib::Vector2d centre_px(int x, int y) {
        return {(x + 0.5) * kCell_px, (y + 0.5) * kCell_px};
    }
    /// Bilinear between cell centres; `contrast` is (high - low) / high of the four. Nullopt where
    /// one of them is missing.
    struct Sample {
        std::array<float, 3> light;
        float contrast = 0;
    };
    [[nodiscard]] std::optional<Sample> at(const calib::Vector2d& px) const;

    /// Divides a shading out that was not known when the cells were made.
    void unshade(const PlacedPlate& plate, const calib::Shading& shading);
};

[[nodiscard]] LightCells lightCells(const PlacedPlate& plate, const io::PlatePixels& pixels);

/// Of all plates, several at a time; each is read once.
[[nodiscard]] std::vector<LightCells> lightCells(const std::vector<PlacedPlate>& plates,
                                                 PlateStore& store);

/// What two plates show of the same place.
struct SharedLight {
    calib::Vector2d px_a, px_b;
    std::array<float, 3> light_a, light_b;  ///< above 0
    /// An even patch says more than an edge that may lie a hair off.
    double weight = 1;
};
[[nodiscard]] std::vector<SharedLight> sharedLight(const LightCells& a, const PlacedPlate& b_plate,
                                                   const LightCells& b);

/// False where two frames certainly see nothing in common.
[[nodiscard]] bool mayOverlap(const PlacedPlate& a, const PlacedPlate& b);

/// No more than `most`, taken evenly, so that a large overlap costs no more than a small one.
template <class T>
void thin(std::vector<T>& values, size_t most) {
    if (values.size() <= most) return;
    const double stride = double(values.size()) / double(most);
    for (size_t i = 0; i < most; ++i) values[i] = values[size_t(double(i) * stride)];
    values.resize(most);
}

}  // namespace plateloom::stitch
