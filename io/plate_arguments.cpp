#include <algorithm>
#include <array>
#include <cctype>
#include <charconv>
#include <cstdio>
#include <string>
#include <system_error>

#include "io/file_name.h"
#include "io/input_error.h"
#include "io/numbered_files.h"
#include "io/plate_file.h"

namespace fs = std::filesystem;

namespace plateloom::io {

namespace {

// Name order as people count: "plate 9" before "plate 10". Equal numbers of unequal length, and
// all other characters, compare as they are written.
bool countsBefore(const std::string& a, const std::string& b) {
    const auto isDigit = [](char c) { return std::isdigit(static_cast<unsigned char>(c)) != 0; };
    size_t i = 0, j = 0;
    while (i < a.size() && j < b.size()) {
        if (!isDigit(a[i]) || !isDigit(b[j])) {
            if (a[i] != b[j]) return a[i] < b[j];
            ++i, ++j;
            continue;
        }
        while (i < a.size() && a[i] == '0') ++i;
        while (j < b.size() && b[j] == '0') ++j;
        size_t i_end = i, j_end = j;
        while (i_end < a.size() && isDigit(a[i_end])) ++i_end;
        while (j_end < b.size() && isDigit(b[j_end])) ++j_end;
        if (i_end - i != j_end - j) return i_end - i < j_end - j;
        const int order = a.compare(i, i_end - i, b, j, j_end - j);
        if (order != 0) return order < 0;
        i = i_end, j = j_end;
    }
    const bool a_ends = i >= a.size(), b_ends = j >= b.size();
    return a_ends != b_ends ? a_ends : a < b;
}

std::vector<fs::path> picturesIn(const fs::path& folder) {
    std::vector<fs::path> found;
    std::error_code error;
    for (fs::directory_iterator entry(folder, error), end; !error && entry != end;
         entry.increment(error)) {
        const std::string name = entry->path().filename().string();
        // Hidden files are what other programs have not finished, or their thumbnails.
        if (name.starts_with('.') || !isPictureName(entry->path())) continue;
        if (!entry->is_directory()) found.push_back(entry->path());
    }
    if (error) {
        throw InputError(folder.string(), "this folder can't be read (" + error.message() + ")");
    }
    if (found.empty()) {
        throw InputError(folder.string(),
                         "this folder holds no pictures (EXR, TIFF, DPX, PNG, JPEG or HDR)");
    }
    std::sort(found.begin(), found.end(), [](const fs::path& a, const fs::path& b) {
        return countsBefore(a.filename().string(), b.filename().string());
    });
    return found;
}

std::vector<fs::path> framesOf(const std::string& pattern, std::optional<FrameRange> frames) {
    std::vector<fs::path> found;
    if (!frames) {
        std::optional<int64_t> last;
        for (const NumberedFile& file : filesOfPattern(pattern))
            if (file.number != last) {
                found.push_back(file.path);
                last = file.number;
            }
        if (found.empty()) throw InputError(pattern, "there is no file of such a name");
        return found;
    }
    std::string first_missing;
    int missing = 0;
    for (int frame = frames->first; frame <= frames->last; ++frame) {
        const fs::path path = framePath(pattern, frame);
        if (!fs::exists(path) && missing++ == 0) first_missing = path.string();
        found.push_back(path);
    }
    if (missing) {
        throw InputError(
            first_missing,
            "there is no such file" + (missing > 1 ? " (and " + std::to_string(missing - 1) +
                                                         " more frames of --frames are missing)"
                                                   : std::string()));
    }
    return found;
}

}  // namespace

bool namesFrames(const std::string& pattern) {
    return fs::path(pattern).filename().string().find('#') != std::string::npos;
}

fs::path framePath(const std::string& pattern, int64_t frame) {
    const fs::path path(pattern);
    std::string name = path.filename().string();
    const size_t begin = name.find('#');
    const size_t end = std::min(name.find_first_not_of('#', begin), name.size());
    std::string number = std::to_string(frame);
    if (number.size() < end - begin) number.insert(0, end - begin - number.size(), '0');
    return path.parent_path() / name.replace(begin, end - begin, number);
}

std::vector<fs::path> expandPlates(const std::vector<std::string>& arguments,
                                   std::optional<FrameRange> frames) {
    std::vector<fs::path> plates;
    for (const std::string& argument : arguments) {
        std::error_code error;
        const fs::file_status status = fs::status(argument, error);
        std::vector<fs::path> more;
        if (fs::is_directory(status)) {
            more = picturesIn(argument);
        } else if (fs::exists(status)) {
            more = {argument};
        } else if (namesFrames(argument)) {
            more = framesOf(argument, frames);
        } else {
            throw InputError(argument, "there is no such file or folder");
        }
        plates.insert(plates.end(), more.begin(), more.end());
    }
    return plates;
}

FrameRange parseFrameRange(const std::string& text) {
    FrameRange range;
    const char* end = text.data() + text.size();
    const auto first = std::from_chars(text.data(), end, range.first);
    auto last = first;
    range.last = range.first;
    if (first.ec == std::errc() && first.ptr != end && *first.ptr == '-') {
        last = std::from_chars(first.ptr + 1, end, range.last);
    }
    if (first.ec != std::errc() || last.ec != std::errc() || last.ptr != end || range.first < 0 ||
        range.last < range.first || range.last - range.first >= kMostFrames) {
        throw InputError("--frames " + text,
                         "this is not a range of frames: write it as 1001-1100, or 1001 for one");
    }
    return range;
}

}  // namespace plateloom::io
