// Pictures for a person to look at: linear light brought to a display, holes plain to see.
#pragma once

#include <filesystem>
#include <vector>

#include "io/made_mark.h"
#include "io/picture.h"

namespace plateloom::io {

/// The factor that brings the 90th percentile of the light (green of linear RGBA, where alpha is
/// above 0) to a bright grey; over all of the pictures together, so that a sequence does not
/// flicker.
[[nodiscard]] float displayExposure(const std::vector<const Picture*>& linear);

/// Linear RGBA to sRGB display values, RGB. What is not covered is a dark blue that no picture has,
/// so that a hole is seen at once.
[[nodiscard]] Picture displayPicture(const Picture& linear, float exposure);

/// PNG or JPEG, by its extension. Throws RoomError.
void writeDisplayPicture(const std::filesystem::path& path, const Picture& picture, Made kind);

}  // namespace plateloom::io
