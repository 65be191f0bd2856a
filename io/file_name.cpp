#include "io/file_name.h"

#include <algorithm>
#include <array>
#include <cctype>

namespace plateloom::io {

std::string lowered(std::string text) {
    for (char& c : text) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
    return text;
}

std::string lowerExtension(const std::filesystem::path& path) {
    return lowered(path.extension().string());
}

bool isExrName(const std::filesystem::path& path) {
    return lowerExtension(path) == ".exr";
}

bool isTiffName(const std::filesystem::path& path) {
    const std::string extension = lowerExtension(path);
    return extension == ".tif" || extension == ".tiff";
}

bool isPictureName(const std::filesystem::path& path) {
    constexpr std::array<const char*, 8> kExtensions{".exr", ".tif", ".tiff", ".dpx",
                                                     ".png", ".jpg", ".jpeg", ".hdr"};
    return std::find(kExtensions.begin(), kExtensions.end(), lowerExtension(path)) !=
           kExtensions.end();
}

bool isMovieName(const std::filesystem::path& path) {
    constexpr std::array<const char*, 8> kExtensions{".mov", ".mp4", ".m4v", ".avi",
                                                     ".mpg", ".qt",  ".mj2", ".3gp"};
    return std::find(kExtensions.begin(), kExtensions.end(), lowerExtension(path)) !=
           kExtensions.end();
}

}  // namespace plateloom::io
