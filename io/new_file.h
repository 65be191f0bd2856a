// Nothing half-written ever bears the final name: a `NewFile` is written under a hidden name beside
// its target, `.NAME.plateloom-PROCESS-N.EXT`, and `commit` seals its mark (made_mark.h), brings it
// to the disk and renames it. Destroyed uncommitted, it removes what there is. On SIGINT, SIGTERM,
// SIGHUP, SIGQUIT or SIGPIPE, after installSignalCleanup(), every uncommitted file is removed
// before the process ends by that signal. What a killed process leaves is known by its lock
// (flock), which is free then: the next run removes it.
#pragma once

#include <filesystem>
#include <string_view>

namespace plateloom::io {

class NewFile {
public:
    /// Throws RoomError when the target's folder is missing or can't be written (says which).
    explicit NewFile(std::filesystem::path target);
    ~NewFile();
    NewFile(const NewFile&) = delete;
    NewFile& operator=(const NewFile&) = delete;

    /// Write here: same folder, and the same extension so that writers choose the same format.
    [[nodiscard]] const std::filesystem::path& path() const { return temporary_; }
    /// Adds to the file's end. Throws RoomError.
    void write(std::string_view bytes);
    /// Renames over the target: whole and on the disk (fsync of file and folder), or not at all.
    /// Throws RoomError.
    void commit();

private:
    std::filesystem::path target_, temporary_;
    int file_ = -1;  // holds the lock
    bool committed_ = false;
};

/// A text file, whole. Throws RoomError.
void writeText(const std::filesystem::path& path, std::string_view text);

/// Throws the RoomError for an errno of writing `target`.
[[noreturn]] void throwWriteFault(const std::filesystem::path& target, int error);

/// Removes the uncommitted files of processes that are gone from this folder.
void removeLeftovers(const std::filesystem::path& folder);

void installSignalCleanup();

/// Makes the folder if it is missing; throws RoomError (in the user's words) if it can't be.
void makeFolder(const std::filesystem::path& folder);

}  // namespace plateloom::io
