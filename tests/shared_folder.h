// What several test programs need and none changes, such as a rendered shoot: made once.
#pragma once

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>

#include "tests/program.h"

namespace plateloom::test {

/// The folder NAME in $PLATELOOM_SHARED, which CTest sets, empties before a run and removes after
/// it. Whoever asks first calls `make(folder)`; other programs wait for that. Without
/// $PLATELOOM_SHARED, a folder of this program's own.
class SharedFolder {
public:
    SharedFolder(const std::string& name,
                 const std::function<void(const std::filesystem::path&)>& make) {
        const char* shared = std::getenv("PLATELOOM_SHARED");
        if (!shared) {
            path_ = own_.emplace().path();
            make(path_);
            return;
        }
        std::filesystem::create_directories(shared);
        path_ = std::filesystem::path(shared) / name;
        const std::filesystem::path made = path_.string() + ".made";
        const int lock = open((path_.string() + ".lock").c_str(), O_CREAT | O_RDWR, 0644);
        if (lock < 0 || flock(lock, LOCK_EX) != 0) std::abort();
        if (!std::filesystem::exists(made)) {  // a program that died halfway leaves no mark
            std::filesystem::remove_all(path_);
            std::filesystem::create_directories(path_);
            make(path_);
            put(made, "");
        }
        close(lock);
    }
    [[nodiscard]] const std::filesystem::path& path() const { return path_; }

private:
    std::optional<Folder> own_;
    std::filesystem::path path_;
};

}  // namespace plateloom::test
