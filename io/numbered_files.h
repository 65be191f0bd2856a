// Frame numbers in file names: `cam1.1001.exr` is frame 1001 of "cam1". The number is the last
// thing before the extension; where it stands elsewhere a pattern says so: `cam1_####_graded.exr`.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace plateloom::io {

/// A shot or clip of more frames than this is a slip of the finger, or counts something else in the
/// name of one of its files, such as a date.
inline constexpr int64_t kMostFrames = 1'000'000;

struct NumberedName {
    std::string before, after;  ///< "cam1." and ".exr"
    int64_t number = 0;
    int digits = 0;

    /// "cam1.####.exr"; at least one #.
    [[nodiscard]] std::string pattern() const;
};

/// Nullopt for a name whose stem does not end in digits.
[[nodiscard]] std::optional<NumberedName> numberedName(const std::filesystem::path& path);

/// What stands before and after the # of a pattern's file name.
struct PatternParts {
    std::string before, after;
    int digits = 0;
};
[[nodiscard]] PatternParts partsOf(const std::string& pattern);

/// All files that a pattern means, whatever number of digits they have, by number (the pattern's
/// own width first where one number has two names). Empty where there are none. Throws InputError
/// for a folder that can't be read.
struct NumberedFile {
    int64_t number = 0;
    std::filesystem::path path;
};
[[nodiscard]] std::vector<NumberedFile> filesOfPattern(const std::string& pattern);

/// "1001-1010, 1013": ascending numbers as a person writes them; of more than `most` runs the first
/// ones, and how many numbers are left.
[[nodiscard]] std::string runsOf(const std::vector<int64_t>& numbers, size_t most = 6);

/// "frame 1001", "frames 1001-1010, 1013".
[[nodiscard]] std::string framesInWords(const std::vector<int64_t>& numbers);

}  // namespace plateloom::io
