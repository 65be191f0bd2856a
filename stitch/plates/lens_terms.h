// What a solve may find out of a lens, for all plates of a lens group: terms of one block.
//
//   F     = F0 scale breathing                          breathing: each plate's own; known: what
//                                                       its F0 has of it (Plate::known_breathing)
//   at    = (recorded - axis - centre) / h              h: half diagonal; axis: the optical axis
//   flat  = h [ at (1 + c1' r² + c2 r⁴ + c3 r⁶) + (2 p1 x y + p2 (r² + 2x²), 2 p2 x y + p1 (r² +
//           2y²)) ] + centre,   r = |at|,   c1' = c1 + c1_by_breathing (known breathing - 1)
//
// That is OpenLensIO's D-U polynomial with k1 = c1' / h², k3 = c2 / h⁴, k5 = c3 / h⁶, tangential
// p / h, about a distortion centre (distortion offset) beside an axis that stands beside the
// sensor's middle (projection offset). A centre off the axis is to first order the same as
// tangential terms (Conrady 1919, Brown 1966): only their sum is well known, and what lenses are
// like decides between the two. A lens from a table keeps its own distortion, and of these terms
// has the scale, the axis and c1 to c3, p1, p2, which are added to its own, at the places of its
// own. A focus that moves changes the focal length and the distortion together: one number ties the
// two.
#pragma once

#include <array>

namespace plateloom::stitch {

enum LensTerm {
    kScale,  ///< focal length over what was known before
    kC1,
    kC2,
    kC3,
    kAxisX,  ///< mm, added to the projection offset
    kAxisY,
    kP1,
    kP2,
    kCentreX,  ///< mm, the distortion offset
    kCentreY,
    kC1ByBreathing,
    kLensTerms
};
using LensTerms = std::array<double, kLensTerms>;

/// A lens that is as it was known.
constexpr LensTerms kLensAsKnown{1};

}  // namespace plateloom::stitch
