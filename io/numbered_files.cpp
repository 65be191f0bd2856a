#include "io/numbered_files.h"

#include <algorithm>
#include <cctype>
#include <charconv>
#include <system_error>

#include "io/input_error.h"

namespace fs = std::filesystem;

namespace plateloom::io {

namespace {

constexpr size_t kMostDigits = 15;  // what a frame counter of any kind has, and fits 64 bits

bool isFrameDigit(char c) {
    return std::isdigit(static_cast<unsigned char>(c)) != 0;
}

std::optional<int64_t> numberIn(const std::string& digits) {
    if (digits.empty() || digits.size() > kMostDigits ||
        !std::all_of(digits.begin(), digits.end(), isFrameDigit))
        return std::nullopt;
    int64_t number = 0;
    std::from_chars(digits.data(), digits.data() + digits.size(), number);
    return number;
}

}  // namespace

std::string NumberedName::pattern() const {
    return before + std::string(size_t(std::max(digits, 1)), '#') + after;
}

std::optional<NumberedName> numberedName(const fs::path& path) {
    const std::string stem = path.stem().string();
    size_t first = stem.size();
    while (first > 0 && isFrameDigit(stem[first - 1])) --first;
    const auto number = numberIn(stem.substr(first));
    if (!number) return std::nullopt;
    return NumberedName{stem.substr(0, first), path.extension().string(), *number,
                        int(stem.size() - first)};
}

PatternParts partsOf(const std::string& pattern) {
    const std::string name = fs::path(pattern).filename().string();
    const size_t begin = std::min(name.find('#'), name.size());
    const size_t end = std::min(name.find_first_not_of('#', begin), name.size());
    return {name.substr(0, begin), name.substr(end), int(end - begin)};
}

std::vector<NumberedFile> filesOfPattern(const std::string& pattern) {
    const PatternParts parts = partsOf(pattern);
    const fs::path parent = fs::path(pattern).parent_path();
    const fs::path folder = parent.empty() ? fs::path(".") : parent;
    std::vector<NumberedFile> found;
    std::error_code error;
    for (fs::directory_iterator entry(folder, error), end; !error && entry != end;
         entry.increment(error)) {
        const std::string name = entry->path().filename().string();
        if (name.size() <= parts.before.size() + parts.after.size() ||
            !name.starts_with(parts.before) || !name.ends_with(parts.after))
            continue;
        const auto number = numberIn(name.substr(
            parts.before.size(), name.size() - parts.before.size() - parts.after.size()));
        if (number && !entry->is_directory()) found.push_back({*number, parent / name});
    }
    if (error && error != std::errc::no_such_file_or_directory)
        throw InputError(folder.string(), "this folder can't be read (" + error.message() + ")");
    const size_t own_width = parts.before.size() + parts.after.size() + size_t(parts.digits);
    const auto rank = [&](const NumberedFile& file) {
        const size_t width = file.path.filename().string().size();
        return width == own_width ? 0 : width;
    };
    std::sort(found.begin(), found.end(), [&](const NumberedFile& a, const NumberedFile& b) {
        return a.number != b.number ? a.number < b.number : rank(a) < rank(b);
    });
    return found;
}

std::string runsOf(const std::vector<int64_t>& numbers, size_t most) {
    std::string text;
    size_t runs = 0;
    for (size_t i = 0; i < numbers.size(); ++runs) {
        if (runs == most) return text + " and " + std::to_string(numbers.size() - i) + " more";
        size_t end = i + 1;
        while (end < numbers.size() && numbers[end] == numbers[end - 1] + 1) ++end;
        if (!text.empty()) text += ", ";
        text += std::to_string(numbers[i]);
        if (end > i + 1) text += "-" + std::to_string(numbers[end - 1]);
        i = end;
    }
    return text;
}

std::string framesInWords(const std::vector<int64_t>& numbers) {
    return (numbers.size() == 1 ? "frame " : "frames ") + runsOf(numbers);
}

}  // namespace plateloom::io
