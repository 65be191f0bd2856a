// Frames of a shot on disk, by the number before the extension: hero.1001.exr and bg.1001.exr are
// the same frame.
#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "io/picture.h"

namespace plateloom::world {

/// The number at the end of the file's stem, as written.
[[nodiscard]] std::string frameNumberOf(const std::filesystem::path& path);
/// Files, or all pictures of folders. Throws io::InputError for what is not there.
[[nodiscard]] std::map<std::string, std::filesystem::path> framesByNumber(
    const std::vector<std::string>& files_or_folders);
/// RGBA. Throws io::InputError.
[[nodiscard]] io::Picture readNumberedPicture(
    const std::map<std::string, std::filesystem::path>& frames, const std::string& number);

}  // namespace plateloom::world
