// How far a part of a panorama covers a view. The resampler knows valid and invalid pixels only;
// here is what lies between: coverage that the panorama itself holds, and the soft edge of cover.
#pragma once

#include <vector>

#include "io/picture.h"
#include "stitch/resample/resample.h"

namespace plateloom::stitch {

class CoverPlane {
public:
    /// Keeps the coverage of `region` where it is not 1 everywhere, and leaves it valid (1) or
    /// invalid (0) in `region`.
    void take(io::PlatePixels& region);

    /// Turns what `resample` made of that region into associated RGBA: alpha falls to 0 over the
    /// last half of an output pixel before the edge of cover.
    void apply(const SamplePoint* points, size_t count, float* rgba) const;

private:
    struct Cover {
        float valid = 1;  ///< share of the output pixel's surroundings that is covered at all
        float alpha = 1;  ///< mean coverage there
    };
    [[nodiscard]] Cover at(const SamplePoint& point) const;

    int width_ = 0, height_ = 0;
    std::vector<float> alpha_;  // empty: all of it is covered
};

}  // namespace plateloom::stitch
