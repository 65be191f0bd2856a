// How near a finished composite comes to the frame that the camera would have recorded on location.
//
// The whole frame is compared as a view is (view_truth.h). Beside that stands the matte's edge,
// where a bad composite shows a bright or dark rim: there the signed error counts, since a rim is
// an error with one sign. `over` itself is not exact there: it mixes the mean background of a pixel
// where the camera saw the part of it that the performer left open. What that costs is told by
// compositing the keyed frame over the recorded empty frame, with no program between.
#pragma once

#include "world/view_truth.h"

namespace plateloom::world {

/// Relative errors, (finished - location) / (location + 0.01), each channel for itself.
struct EdgeErrors {
    size_t pixels = 0;
    double mean = 0;    ///< signed, of the worst channel: what a rim would be
    double median = 0;  ///< of the sizes
};

struct CompositeErrors {
    ViewErrors whole;
    EdgeErrors edge;  ///< where the matte is between 2 % and 98 %, and the pixels next to it
    EdgeErrors edge_of_over;  ///< the same of the keyed frame over the recorded empty frame
    EdgeErrors performer;     ///< where the matte is full
};

/// All of one size. `finished` RGBA or RGB; `keyed` RGBA, associated; `location` and `empty` RGB.
/// `finished` is compared as it is, in light as well: no factor is allowed.
[[nodiscard]] CompositeErrors compareComposite(const io::Picture& finished,
                                               const io::Picture& location,
                                               const io::Picture& keyed, const io::Picture& empty,
                                               const ViewComparison& how = {});

}  // namespace plateloom::world
