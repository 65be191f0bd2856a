#include "stitch/clips/clip_names.h"

#include <algorithm>
#include <filesystem>

#include "io/file_name.h"

namespace fs = std::filesystem;

namespace plateloom::stitch {

namespace {

constexpr const char* kSeparators = "._- ";
constexpr const char* kNumber = "0123456789#%";

bool isSeparator(char c) {
    return std::string_view(kSeparators).find(c) != std::string_view::npos;
}

// Without what a frame number leaves behind: "cam1." of "cam1.1001".
std::string withoutNumber(std::string name) {
    const size_t end = name.find_last_not_of(kNumber);
    name.erase(end == std::string::npos ? 0 : end + 1);
    const size_t letters = name.find_last_not_of(kSeparators);
    name.erase(letters == std::string::npos ? 0 : letters + 1);
    return name;
}

std::string lastName(const io::Clip& clip) {
    return io::lowered(fs::path(clip.name).filename().string());
}

}  // namespace

bool meansClip(const std::string& name, const io::Clip& clip) {
    if (name.empty()) return false;
    fs::path path(io::lowered(name));
    const std::string whole = io::lowered(clip.name);
    if (io::isPictureName(path) || io::isMovieName(path)) path.replace_extension();
    const std::string wanted = path.filename().string();
    // With its folder, where two clips are told apart by theirs.
    if (fs::path(whole).has_parent_path() && path.has_parent_path()) {
        const std::string folder = path.parent_path().filename().string() + "/";
        return folder + wanted == whole || folder + withoutNumber(wanted) == whole;
    }
    const std::string last = lastName(clip);
    return wanted == last || withoutNumber(wanted) == last;
}

bool isCalledAfter(const std::string& track, const io::Clip& clip, bool exactly) {
    const std::string stem = io::lowered(fs::path(track).stem().string()), name = lastName(clip);
    if (exactly) return stem == name;
    if (stem.size() <= name.size()) return false;
    return (stem.starts_with(name) && isSeparator(stem[name.size()])) ||
           (stem.ends_with(name) && isSeparator(stem[stem.size() - name.size() - 1]));
}

}  // namespace plateloom::stitch
