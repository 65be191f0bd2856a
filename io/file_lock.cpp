#include "io/file_lock.h"

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>

#include "io/new_file.h"

namespace plateloom::io {

namespace {

// Who had the lock before may have removed its file meanwhile.
bool isStillAt(int file, const std::filesystem::path& path) {
    struct stat mine {
    }, there{};
    return ::fstat(file, &mine) == 0 && ::stat(path.c_str(), &there) == 0 &&
           mine.st_dev == there.st_dev && mine.st_ino == there.st_ino;
}

}  // namespace

FileLock::FileLock(const std::filesystem::path& target)
    : path_(target.parent_path() /
            ("." + target.filename().string().substr(0, 200) + ".plateloom-lock")) {
    for (;;) {
        file_ = ::open(path_.c_str(), O_CREAT | O_RDWR | O_CLOEXEC, 0666);
        if (file_ < 0) throwWriteFault(target, errno);
        while (::flock(file_, LOCK_EX) != 0 && errno == EINTR) {
        }
        if (isStillAt(file_, path_)) return;
        ::close(file_);
    }
}

FileLock::~FileLock() {
    ::unlink(path_.c_str());
    ::close(file_);
}

}  // namespace plateloom::io
