// Light that stands far above its surroundings, kept apart from the plate that it belongs to.
//
// A windowed sinc rings beside an edge by up to a tenth of its height. Where contrast is ordinary
// that is what sharpness looks like; beside a lamp 400 times as bright as the wall it is a black
// ring, and bounding the ring afterwards takes light away or adds some. So each sample of a plate
// is split before it is filtered: value = ordinary + bright. The ordinary part goes through the
// sinc (filter_bank.h), the bright part through an area filter (bright_sum.h), and both are added.
//
// Both are linear and their weights add up to 1, so
//  - constant light is preserved, and no position moves;
//  - energy is: what leaves a sample is its ordinary part times the sum of the sinc's weights over
//    the output grid, 1 within 0.5 % at any scale, plus its bright part times that of the area
//    filter's, which is 1;
//  - the area filter has no negative weights: it never rings.
// It remains that the ordinary part must not ring either. Its upper envelope is
//     o(p) = min over dark samples q of u(q) 1.4^(|p - q| / scale),  |.| summed over both axes,
// where `scale` is plate pixels per output pixel. A slow exponential passes a filter with its own
// shape; where this one sets in, the sinc rings by 1.5 % of the dark light at the most, two pixels
// off and farther. u is the sample plus the plate's noise floor, so that noise about zero is no
// contrast. What exceeds o is bright. It fades out within log(contrast) / log(1.4) output pixels
// of the lamp's edge; beyond, and wherever contrast is ordinary, the sinc is as sharp as ever.
//
// Dark samples are looked for where the sinc would show them a ring (ring_search.h). Where there
// are none, as in most of most plates, nothing is split and the filter is the sinc alone.
//
// Colours are split, not their products with alpha: under any alpha a constant colour is whole.
//
// Cost: 2 operations a sample to find the contrast of blocks, about 60 where it is large.
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <vector>

#include "io/picture.h"

namespace plateloom::stitch {

/// Sparse: only tiles that hold any of it. R G B, associated as the plate's are, and 0.
struct BrightLight {
    static constexpr int kTile = 8;
    static constexpr int kTileValues = kTile * kTile * 4;

    int across = 0, down = 0;   ///< tiles
    std::vector<int32_t> tile;  ///< one an entry of across x down: which one it is; -1: none
    std::vector<float> value;   ///< kTileValues a tile

    [[nodiscard]] size_t bytes() const { return tile.size() * 4 + value.size() * 4; }
    /// The tile's values; null where it holds none, or lies off the plate.
    [[nodiscard]] const float* tileAt(int tx, int ty) const {
        if (tx < 0 || ty < 0 || tx >= across || ty >= down) return nullptr;
        const int32_t which = tile[size_t(ty) * size_t(across) + size_t(tx)];
        return which < 0 ? nullptr : &value[size_t(which) * size_t(kTileValues)];
    }
    /// Whether any of it may lie in pixels [x0, x1) x [y0, y1).
    [[nodiscard]] bool isIn(int x0, int y0, int x1, int y1) const;
    /// Leaves the ordinary part of `width` x `height` pixels from (x0, y0) on.
    void subtract(int x0, int y0, int width, int height, float* rgba) const;
};

/// The bright part of `plate`; null when there is none. `scale`: plate pixels per output pixel at
/// the most, anywhere on the plate; below 1 counts as 1. Beside the plate it holds 8 bytes for each
/// pixel near contrast.
[[nodiscard]] std::shared_ptr<const BrightLight> findBright(const io::PlatePixels& plate,
                                                            double scale);

}  // namespace plateloom::stitch
