// What was found while a frame was flattened or unflattened. It is written into the frame, so that
// --resume tells it of the frames that it keeps, as the run did that made them.
#pragma once

#include <cstddef>
#include <optional>
#include <string>

#include "stitch/flatten/frame_job.h"

namespace plateloom::stitch {

struct MadeFindings {
    size_t uncovered = 0;    ///< recorded pixels for which the flat frame has no sample
    size_t bad_pixels = 0;   ///< of the frame that was read: not finite
    size_t beyond_half = 0;  ///< values of what was made
    bool operator==(const MadeFindings&) const = default;
};

/// Always of the same length, whatever the numbers are.
[[nodiscard]] std::string textOf(const MadeFindings& found);
/// The inverse; nullopt for any other text.
[[nodiscard]] std::optional<MadeFindings> madeFindings(const std::string& text);

/// Warns of a frame with pixels that are not finite, of `pixels` in all, or too bright for half.
/// More of the first than a few defects are holes that a person must see.
void tellLight(const std::string& name, const MadeFindings& found, size_t pixels, MadeFrames& made);

}  // namespace plateloom::stitch
