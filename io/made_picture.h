// A picture that this program wrote earlier, known again by its recipe: what --resume keeps.
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

/// Whether there is such an EXR at `path`, of whatever parts and channels, and every sample of it
/// can be read; read a band at a time.
[[nodiscard]] bool isMade(const std::filesystem::path& path, const std::string& recipe);

}  // namespace plateloom::io
