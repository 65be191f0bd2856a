// How near a view out of a panorama comes to the frame that the shot's camera truly recorded.
//
// Where: patches of the recorded frame are found again in the view to a small part of a pixel, over
// the whole frame; how far they have to be moved is the view's geometric error. Light: the relative
// difference pixel by pixel, after one factor a channel, since a panorama is free in exposure.
#pragma once

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
    int tried = 0;                    ///< patches wholly covered and with something to hold on to
    std::vector<PatchShift> patches;  ///< those found again
    double rms_px = 0, p95_px = 0, largest_px = 0;  ///< length of the shift
    double mean_dx_px = 0, mean_dy_px = 0;
    Rgb factor{1, 1, 1};  ///< by which the view was multiplied
    /// Of |view - recorded| / (recorded + 0.01) over covered pixels.
    double median_light = 0, p95_light = 0;
    /// The same of means over 8 x 8 pixels: what sharpness and noise do is gone, what shading and
    /// exposure do is left.
    double median_area_light = 0, p95_area_light = 0;
};

struct ViewComparison {
    int across = 24;               ///< patches in a row of the frame
    double worst_sigma_px = 0.01;  ///< patches known less surely are left out
    double reach_px = 2;           ///< of the search for a patch
};

/// Both RGB or RGBA and of the same size. A patch that is not found within reach counts as tried.
[[nodiscard]] ViewErrors compareView(const io::Picture& view, const io::Picture& recorded,
                                     const ViewComparison& how = {});

}  // namespace plateloom::world
