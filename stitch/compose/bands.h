// How one plate passes into the next: a smooth gain for each plate, over the overview's grid, that
// brings every band of its light coarser than two cells to the blend of all plates.
//
// Burt and Adelson, A Multiresolution Spline With Application to Image Mosaics, ACM Transactions on
// Graphics 2(4), 1983, on the logarithm of light: Laplacian bands of the plates, each weighed by
// the Gaussian of the plates' masks, give the blend B. Where plate i stands for the panorama it is
// multiplied by 2^(B - G_i), its own coarse light G_i taken out and the blend's put in; what is
// finer than two cells is left to compose (a short passage from plate to plate). So
//  - the blend costs nothing at full resolution, and no tile needs its neighbours' pixels;
//  - a difference of exposure is spread as a factor, dark and bright alike, and never as an offset;
//  - where no other plate is within reach the gain is exactly 1.
//
// What goes into the bands is each plate's difference from the mean of all plates, less what is
// left of their differences in exposure (plate_offsets.h); the mean drops out of B - G_i. Where a
// plate ends, its bands are means over its valid part (normalised convolution): of a difference
// that says how this plate was exposed, of the scene itself it would say what happens to lie on
// this side of the edge. Over a pole the grid of a whole sphere goes on half a turn away, so a seam
// there is blended like any other. A cell on which plates disagree (something moved) has next to no
// weight where coarser bands are made, so it does not glow over a seam.
#pragma once

#include <vector>

#include "stitch/compose/overview.h"
#include "stitch/compose/seams.h"

namespace plateloom::stitch {

/// A plate's gain over the same part of the grid as its SmallPlate.
struct GainField {
    int x0 = 0, y0 = 0, width = 0, height = 0;
    std::vector<float> rgba;  ///< 4 a cell; the fourth is 1

    /// The gain at a cell of the whole grid; outside the part, its nearest cell's. x may be
    /// anything: it wraps.
    [[nodiscard]] const float* at(int x, int y, int grid_width) const;
};

[[nodiscard]] std::vector<GainField> blendBands(const Overview& overview, const LabelBlend& labels);

}  // namespace plateloom::stitch
