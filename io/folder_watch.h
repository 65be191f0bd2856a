// Tells when plates on disk have changed: by names, sizes and times, looked at again and again.
// (Notification by the kernel does not reach across network shares and card readers.)
#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "io/plate_file.h"

namespace plateloom::io {

class FolderWatch {
public:
    FolderWatch(std::vector<std::string> plates, std::optional<FrameRange> frames);

    /// True the first time, and whenever anything is not as it was at the last call. A folder that
    /// is empty, or not there yet, holds nothing.
    [[nodiscard]] bool hasChanged();

private:
    using Stamp = std::pair<uintmax_t, std::filesystem::file_time_type>;
    [[nodiscard]] std::map<std::filesystem::path, Stamp> stampsNow() const;

    std::vector<std::string> plates_;
    std::optional<FrameRange> frames_;
    std::optional<std::map<std::filesystem::path, Stamp>> seen_;
};

}  // namespace plateloom::io
