// Nothing half-written ever bears the final name: a `NewFile` is written under a hidden name beside
// its target, and `commit` renames it. Destroyed uncommitted, it removes what there is. On SIGINT,
// SIGTERM, SIGHUP, SIGQUIT or SIGPIPE, after installSignalCleanup(), every uncommitted file is
// removed before the process ends by that signal.
#pragma once

#include <filesystem>

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
    /// Renames over the target. Throws RoomError.
    void commit();

private:
    std::filesystem::path target_, temporary_;
    bool committed_ = false;
};

void installSignalCleanup();

/// Makes the folder if it is missing; throws RoomError (in the user's words) if it can't be.
void makeFolder(const std::filesystem::path& folder);

}  // namespace plateloom::io
