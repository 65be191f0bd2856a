#include "io/folder_watch.h"

#include <system_error>

#include "io/input_error.h"

namespace plateloom::io {

FolderWatch::FolderWatch(std::vector<std::string> plates, std::optional<FrameRange> frames)
    : plates_(std::move(plates)), frames_(frames) {}

std::map<std::filesystem::path, FolderWatch::Stamp> FolderWatch::stampsNow() const {
    std::map<std::filesystem::path, Stamp> stamps;
    for (const auto& plate : plates_) try {
            for (const auto& path : expandPlates({plate}, frames_)) {
                std::error_code gone;
                const auto bytes = std::filesystem::file_size(path, gone);
                const auto changed = std::filesystem::last_write_time(path, gone);
                if (!gone) stamps[path] = {bytes, changed};
            }
        } catch (const InputError&) {
            continue;  // nothing there yet
        }
    return stamps;
}

bool FolderWatch::hasChanged() {
    auto now = stampsNow();
    if (seen_ && *seen_ == now) return false;
    seen_ = std::move(now);
    return true;
}

}  // namespace plateloom::io
