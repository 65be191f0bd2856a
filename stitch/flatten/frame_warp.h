// Every channel of a frame taken through a lens map, each as its kind asks for: what `flatten` and
// `unflatten` make of a frame with more in it than a picture.
#pragma once

#include <cstddef>
#include <functional>
#include <memory>
#include <optional>
#include <vector>

#include "calib/sensor.h"
#include "io/frame_file.h"
#include "stitch/resample/bright_light.h"
#include "stitch/resample/overscan.h"

namespace plateloom::stitch {

/// Recorded pixels per flat pixel or the other way round, at the most: lenses bend by less.
inline constexpr double kFlatScale = 1.25;

/// Rows that are made at once; they start at a multiple of it.
inline constexpr int kStripRows = 16;

/// From the pixels that are made to the pixels that they are made of. Both count from the upper
/// left corner of the recorded frame.
struct FrameWarp {
    PixelBounds to;    ///< what is made
    PixelBounds from;  ///< the part of the source that counts; beyond it is nothing
    std::function<std::optional<calib::Vector2d>(double x, double y)> source;
    /// What colours are multiplied with; nothing where the pixel can't be made.
    std::function<std::optional<float>(const calib::Vector2d& made_px,
                                       const calib::Vector2d& source_px)>
        light;
};

/// The bright part of each filtered plane of colours (bright_light.h).
using FrameBright = std::vector<std::shared_ptr<const BrightLight>>;
[[nodiscard]] FrameBright findBright(const io::FramePart& part, const io::FramePixels& pixels);

/// What was found while rows were made.
struct WarpedRows {
    size_t uncovered = 0;    ///< pixels for which the first filtered plane has no sample
    size_t beyond_half = 0;  ///< values of colours that half does not hold
    void operator+=(const WarpedRows& other) {
        uncovered += other.uncovered;
        beyond_half += other.beyond_half;
    }
};

/// One part of a frame, to be warped. What it refers to must outlive it.
struct FrameSource {
    const io::FramePart& part;
    const io::FramePixels& pixels;
    const FrameBright& bright;
};

/// Rows [y, y + rows) of what is made into `samples`, pixels of all channels as
/// FramePart::pixelBytes has it.
WarpedRows warpFrameRows(const FrameSource& source, const FrameWarp& warp, int y, int rows,
                         char* samples);

}  // namespace plateloom::stitch
