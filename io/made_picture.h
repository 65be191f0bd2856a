// A picture that this program wrote earlier, known again by its recipe.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "io/picture.h"

namespace plateloom::io {

/// The pixels (its data window, R G B A) of the EXR at `path`, when it is there, whole, and was
/// written with this `recipe` (PictureTags); nullopt otherwise, whatever the reason.
[[nodiscard]] std::optional<Picture> readMade(const std::filesystem::path& path,
                                              const std::string& recipe);

/// Whether there is such a picture at `path`, whole to its last pixel; read a part at a time.
[[nodiscard]] bool isMade(const std::filesystem::path& path, const std::string& recipe);

}  // namespace plateloom::io
