// What a file's name says of its kind, in any case: PLATE.EXR is an EXR file.
#pragma once

#include <filesystem>
#include <string>

namespace plateloom::io {

[[nodiscard]] std::string lowered(std::string text);

/// ".exr" of "a/B.EXR".
[[nodiscard]] std::string lowerExtension(const std::filesystem::path& path);

[[nodiscard]] bool isExrName(const std::filesystem::path& path);
[[nodiscard]] bool isTiffName(const std::filesystem::path& path);

/// Whether a plate may be in a file of this name: those that a folder of plates is searched for.
[[nodiscard]] bool isPictureName(const std::filesystem::path& path);

/// Whether it may be a movie: the kinds that OpenImageIO's reader for them takes.
[[nodiscard]] bool isMovieName(const std::filesystem::path& path);

}  // namespace plateloom::io
