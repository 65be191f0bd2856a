// How near a view out of a panorama comes to the frame that the shot's camera truly recorded.
//
// Where: patch by patch over the whole frame, how far the recorded light has to be moved to be the
// view's, by least squares on its slopes (Lucas and Kanade 1981), sharpness and brightness set
// free: that is the view's geometric error. Light: the relative difference pixel by pixel, after
// one factor a channel, since a panorama is free in exposure.
#pragma once

#include <cmath>
#include <vector>

#include "io/picture.h"
#include "world/square_plan.h"

namespace plateloom::world {

struct PatchShift {
    double x_px = 0, y_px = 0;    ///< where the patch stands in the recorded frame
    double dx_px = 0, dy_px = 0;  ///< from there to its place in the view
    double sigma_px = 0;          ///< how surely that is known
};

struct ViewErrors {
    double covered = 0;               ///< share of the frame with alpha 1
    int places = 0;                   ///< patches that the view covers wholly
    std::vector<PatchShift> patches;  ///< those that tell a shift, surely enough
    double rms_px = 0, p95_px = 0;    ///< length of single patches' shifts
    Rgb factor{1, 1, 1};              ///< by which the view was multiplied
    /// Of |view - recorded| / (recorded + 0.01) over covered pixels.
    double median_light = 0, p95_light = 0;
    /// The same of means over 8 x 8 pixels: what sharpness and noise do is gone, what shading and
    /// exposure do is left.
    double median_area_light = 0, p95_area_light = 0;
};

/// A view's geometric error is smooth over the frame; single patches scatter about it, since the
/// truth is rendered from random samples and many patches hold little. So the error is told by
/// zones: the median shift of a zone's patches, each weighted by how surely it is known.
struct ZoneShift {
    double dx_px = 0, dy_px = 0;
    int patches = 0;
    [[nodiscard]] double length_px() const { return std::hypot(dx_px, dy_px); }
};
constexpr int kZonesAcross = 6, kZonesDown = 4;
/// Row by row; zones with fewer than four patches are left out. Patches may be of several frames.
[[nodiscard]] std::vector<ZoneShift> zonesOf(const std::vector<PatchShift>& patches, int width,
                                             int height);
[[nodiscard]] double largestZone_px(const std::vector<ZoneShift>& zones);

struct ViewComparison {
    int across = 24;               ///< patches in a row of the frame
    double worst_sigma_px = 0.01;  ///< patches that tell a shift less surely are left out
    double worst_residual = 0.1;   ///< relative; beyond it a patch shows something else
};

/// Both RGB or RGBA and of the same size. For shifts below a pixel. A wrong view shows in
/// few patches that tell a shift: see `places`.
[[nodiscard]] ViewErrors compareView(const io::Picture& view, const io::Picture& recorded,
                                     const ViewComparison& how = {});

}  // namespace plateloom::world
