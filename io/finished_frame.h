// A frame that an earlier run wrote, known again by what it was made from.
#pragma once

#include <filesystem>
#include <string>

namespace plateloom::io {

/// Whether the EXR at `path` is there, bears this recipe (PictureTags) and can be read to its end.
/// Files get their names only when they are whole, so the last rows stand for all.
[[nodiscard]] bool isFinished(const std::filesystem::path& path, const std::string& recipe);

}  // namespace plateloom::io
