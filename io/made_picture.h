// Pictures that bear this program's mark (made_mark.h), and pictures that it wrote earlier, known
// again by their recipe: what --resume keeps.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <string>

#include "io/made_mark.h"
#include "io/new_file.h"
#include "io/picture.h"
#include "io/plate_file.h"

namespace plateloom::io {

/// The pixels (its data window, R G B A) of the EXR at `path`, when it is there, whole, and was
/// written with this `recipe` (PictureTags); nullopt otherwise, whatever the reason.
[[nodiscard]] std::optional<Picture> readMade(const std::filesystem::path& path,
                                              const std::string& recipe);

/// Whether there is such an EXR at `path`, of whatever parts and channels, and every sample of it
/// can be read; read a band at a time. `found` gets what was found while making it (PictureTags).
[[nodiscard]] bool isMade(const std::filesystem::path& path, const std::string& recipe,
                          std::string* found = nullptr);

/// The recipe that the EXR at `path` bears; "" for none, or no EXR.
[[nodiscard]] std::string recipeOf(const std::filesystem::path& path);

/// As writePicture, with the mark.
void writeMade(const std::filesystem::path& path, const Picture& picture, const PictureTags& tags,
               bool half, const DataWindow& window, Made kind);
/// The same, whole but under its hidden name until it is committed.
[[nodiscard]] std::unique_ptr<NewFile> writeMadeBeside(const std::filesystem::path& path,
                                                       const Picture& picture,
                                                       const PictureTags& tags, bool half,
                                                       const DataWindow& window, Made kind);

}  // namespace plateloom::io
