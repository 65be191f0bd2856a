// A lock on the files that one name stands for, between processes that use it: held while they are
// replaced together, or read, added to and written again.
#pragma once

#include <filesystem>

namespace plateloom::io {

class FileLock {
public:
    /// Waits for whoever has it. The lock is a hidden file beside `target`, removed at the end; one
    /// that a killed process leaves is free. On a disk without locks there is none. Throws
    /// RoomError.
    explicit FileLock(const std::filesystem::path& target);
    ~FileLock();
    FileLock(const FileLock&) = delete;
    FileLock& operator=(const FileLock&) = delete;

private:
    std::filesystem::path path_;
    int file_ = -1;
};

}  // namespace plateloom::io
