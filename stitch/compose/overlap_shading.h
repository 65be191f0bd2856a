// Shading from overlaps: where a lens has no shading data, what two plates show of the same place
// tells it. The place lies near the corner of one and nearer the middle of the other, and the
// ratio of the two recordings is the ratio of the lens's transmissions there, times the plates'
// exposures. All overlaps together give transmission and exposures at once (least squares on
// logarithms, robust against whatever moved):
//
//     ln (light_a / light_b) = ln T(r_a) - ln T(r_b) + e_a - e_b,   T(r) = 1 - (a1 r² + a2 r⁴ + a3
//     r⁶)
//
// (Goldman and Chen, Vignette and exposure calibration and compensation, ICCV 2005, with
// OpenLensIO's polynomial.) The number of terms is what predicts overlaps best that were left out;
// the uncertainty is what the answer changes by as overlaps are left out (the jackknife: Efron,
// The Jackknife, the Bootstrap and Other Resampling Plans, SIAM 1982).
#pragma once

#include <optional>
#include <vector>

#include "stitch/compose/light_cells.h"

namespace plateloom::stitch {

struct FoundShading {
    calib::Shading shading;
    /// One-sigma uncertainty of the transmission at the frame's corner.
    double corner_sigma = 0;
    /// How far the overlaps reach, as a share of the half diagonal.
    double reach = 0;
    int terms = 0;

    /// Whether it is known well enough to be used: half of one per cent of light in the corner
    /// shows as a seam, several per cent are worse than a lens that isn't corrected.
    [[nodiscard]] bool isKnown() const { return terms > 0 && corner_sigma < 0.03 && reach > 0.8; }
};

struct ShadingFromOverlaps {
    std::vector<FoundShading> of_setting;
    /// What overlaps that were left out show beyond the answer, in natural logarithm of light:
    /// tells one division into settings from another. 0: too few overlaps to leave any out.
    double held_out = 0;
};

/// `lens_setting[i]`: plates of one number share their shading; -1: known, and divided out of the
/// cells already. Settings of one lens differ only by iris and focus: where few overlaps tell one
/// of them apart, it is held near the others.
[[nodiscard]] ShadingFromOverlaps findShading(const std::vector<PlacedPlate>& plates,
                                              const std::vector<LightCells>& cells,
                                              const std::vector<int>& lens_setting);

}  // namespace plateloom::stitch
