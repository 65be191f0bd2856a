#include "stitch/flatten/unflatten.h"

#include <algorithm>

#include "stitch/resample/flat_positions.h"

namespace plateloom::stitch {

FrameWarp unflattening(const io::FramePart& part, const calib::LensMap& lens) {
    FrameWarp warp;
    warp.to = wholeFrame(lens.sensor());
    warp.from = {part.x, part.y, part.x + part.width, part.y + part.height};
    warp.source = [&lens](double x, double y) { return flatFromRecorded(lens, {x, y}); };
    warp.light = [&lens](const calib::Vector2d& recorded, const calib::Vector2d&) {
        return std::optional(std::max(0.0f, float(lens.transmission(recorded))));
    };
    return warp;
}

}  // namespace plateloom::stitch
