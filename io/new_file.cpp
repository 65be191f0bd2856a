#include "io/new_file.h"

#include <dirent.h>
#include <fcntl.h>
#include <signal.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <cerrno>
#include <climits>
#include <cstring>
#include <memory>
#include <string>
#include <string_view>
#include <system_error>

#include "io/input_error.h"
#include "io/made_mark.h"
#include "io/unfinished_files.h"

namespace fs = std::filesystem;

namespace plateloom::io {

namespace {

// Paths that a signal handler may unlink: fixed places and atomics only, since a handler may
// neither allocate nor lock. `live` is set last and cleared first.
constexpr size_t kPlaces = 512;
constexpr size_t kLongestPath = 4096;

// Ways of being told to stop: by the user, the system, a closed terminal, a closed pipe.
constexpr std::array kEndingSignals{SIGINT, SIGTERM, SIGHUP, SIGQUIT, SIGPIPE};

enum class PlaceState : int { free, claimed, live };
struct Place {
    std::atomic<PlaceState> state{PlaceState::free};
    std::array<char, kLongestPath> path{};
};
static_assert(std::atomic<PlaceState>::is_always_lock_free);
std::array<Place, kPlaces> unfinished;

void remember(const fs::path& path) {
    const std::string& text = path.native();
    if (text.size() >= kLongestPath) return;
    for (Place& place : unfinished) {
        PlaceState expected = PlaceState::free;
        if (!place.state.compare_exchange_strong(expected, PlaceState::claimed)) continue;
        std::memcpy(place.path.data(), text.c_str(), text.size() + 1);
        place.state.store(PlaceState::live);
        return;
    }
}

void forget(const fs::path& path) {
    for (Place& place : unfinished) {
        if (place.state.load() == PlaceState::live && path.native() == place.path.data()) {
            place.state.store(PlaceState::free);
            return;
        }
    }
}

extern "C" void removeUnfinished(int signal_number) {
    removeUnfinishedFiles();
    // The signal is blocked while its handler runs; it is delivered, with its own default effect,
    // on return: whoever waits for this process sees the true cause of its end.
    ::signal(signal_number, SIG_DFL);
    ::raise(signal_number);
}

std::string folderFault(int error) {
    switch (error) {
        case ENOENT:
            return "the folder does not exist: make it first, or name another";
        case ENOTDIR:
            return "this is not a folder, nothing can be written in it: name another";
        case EACCES:
        case EPERM:
            return "this folder can't be written (no permission): change its permissions, or name "
                   "another";
        case EROFS:
            return "this folder is on a read-only disk: name another";
        case ENOSPC:
        case EDQUOT:
            return "the disk is full: free some room, or name another folder";
        case ENAMETOOLONG:
            return "the file name is too long for this folder: choose a shorter one";
        default:
            return "nothing can be written in this folder (" +
                   std::generic_category().message(error) + ")";
    }
}

fs::path folderOf(const fs::path& target) {
    const fs::path folder = target.parent_path();
    return folder.empty() ? fs::path(".") : folder;
}

constexpr std::string_view kHiddenWord = ".plateloom-";

// Hidden, beside the target, with its extension; short, so that a long target name still fits.
fs::path hiddenName(const fs::path& target) {
    static std::atomic<unsigned> serial{0};
    const std::string stem = target.stem().string().substr(0, 64);
    return fs::absolute(folderOf(target)) /
           ("." + stem + std::string(kHiddenWord) + std::to_string(::getpid()) + "-" +
            std::to_string(serial++) + target.extension().string());
}

bool isHiddenName(std::string_view name) {
    const size_t word = name.rfind(kHiddenWord);
    if (!name.starts_with('.') || word == std::string_view::npos) return false;
    name.remove_prefix(word + kHiddenWord.size());
    const auto skipDigits = [&] {
        const size_t end = std::min(name.find_first_not_of("0123456789"), name.size());
        name.remove_prefix(end);
        return end > 0;
    };
    if (!skipDigits() || !name.starts_with('-')) return false;
    name.remove_prefix(1);
    return skipDigits() && (name.empty() || name.front() == '.');
}

bool isStillThere(int file) {
    struct stat status {};
    return ::fstat(file, &status) == 0 && status.st_nlink > 0;
}

// -1 and EEXIST where the name is taken, or was taken away before it could be locked.
int createLocked(const fs::path& path) {
    const int file = ::open(path.c_str(), O_CREAT | O_EXCL | O_RDWR | O_CLOEXEC, 0666);
    if (file < 0) return -1;
    // Only a file that is this process's own may be removed by its signal handler.
    remember(path);
    // Another run that clears up may have been quicker. A disk without locks does without.
    const bool lost = (::flock(file, LOCK_EX | LOCK_NB) != 0 && errno == EWOULDBLOCK);
    if (!lost && isStillThere(file)) return file;
    ::close(file);
    forget(path);
    errno = EEXIST;
    return -1;
}

int syncFolder(const fs::path& folder) {
    const int file = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (file < 0) return 0;  // a folder that may be written but not read
    const int error = ::fsync(file) == 0 ? 0 : errno;
    ::close(file);
    // Some file systems can't sync a folder and say so.
    return error == EIO || error == ENOSPC || error == EDQUOT ? error : 0;
}

}  // namespace

NewFile::NewFile(fs::path target) : target_(std::move(target)) {
    std::error_code ignored;
    // A link keeps pointing: it is the file behind it that is replaced.
    if (fs::is_symlink(target_, ignored)) {
        const fs::path behind = fs::weakly_canonical(target_, ignored);
        if (!ignored) target_ = behind;
    }
    const fs::file_status status = fs::status(target_, ignored);
    if (fs::is_directory(status)) {
        throw RoomError(target_.string(), "this is a folder: give the name of a file in it");
    }
    if (fs::exists(status) && !fs::is_regular_file(status)) {
        throw RoomError(target_.string(), "this is a device or a pipe, not a file: name another");
    }
    // The hidden name is shorter than the target's: too long a one would fail only at the end.
    if (target_.filename().native().size() > NAME_MAX) {
        throw RoomError(folderOf(target_).string(), folderFault(ENAMETOOLONG));
    }
    // A name may be taken by what a killed process of the same number left behind.
    constexpr int kTries = 100;
    for (int attempt = 1; file_ < 0; ++attempt) {
        temporary_ = hiddenName(target_);
        file_ = createLocked(temporary_);
        if (file_ < 0 && (errno != EEXIST || attempt == kTries))
            throw RoomError(folderOf(target_).string(), folderFault(errno));
    }
}

NewFile::~NewFile() {
    if (!committed_) {
        ::unlink(temporary_.c_str());
        forget(temporary_);
    }
    ::close(file_);
}

void NewFile::write(std::string_view bytes) {
    while (!bytes.empty()) {
        const ssize_t count = ::write(file_, bytes.data(), bytes.size());
        if (count < 0 && errno == EINTR) continue;
        if (count <= 0) throwWriteFault(target_, count == 0 ? ENOSPC : errno);
        bytes.remove_prefix(size_t(count));
    }
}

void NewFile::commit() {
    if (const int error = sealMark(file_)) throwWriteFault(target_, error);
    if (::fsync(file_) != 0) throwWriteFault(target_, errno);
    if (::rename(temporary_.c_str(), target_.c_str()) != 0) {
        throw RoomError(target_.string(), "the finished file can't be given this name (" +
                                              std::generic_category().message(errno) + ")");
    }
    committed_ = true;
    forget(temporary_);
    if (const int error = syncFolder(folderOf(target_)))
        throw RoomError(target_.string(),
                        "is written, but its folder can't be brought to the disk (" +
                            std::generic_category().message(error) + ")");
}

void writeText(const fs::path& path, std::string_view text) {
    NewFile file(path);
    file.write(text);
    file.commit();
}

void throwWriteFault(const fs::path& target, int error) {
    switch (error) {
        case ENOSPC:
        case EDQUOT:
            throw RoomError(
                target.string(),
                "the disk is full: free some room and run again, nothing was left behind");
        case EFBIG:
            throw RoomError(target.string(),
                            "the file would be larger than this disk or user may hold: write it "
                            "elsewhere, nothing was left behind");
        default:
            throw RoomError(target.string(),
                            "can't be written (" + std::generic_category().message(error) + ")");
    }
}

void removeLeftovers(const fs::path& folder) {
    const std::unique_ptr<DIR, int (*)(DIR*)> entries(::opendir(folder.c_str()), ::closedir);
    if (!entries) return;
    while (const dirent* entry = ::readdir(entries.get())) {
        if (!isHiddenName(entry->d_name)) continue;
        const fs::path path = folder / entry->d_name;
        const int file = ::open(path.c_str(), O_RDWR | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
        if (file < 0) continue;
        if (::flock(file, LOCK_EX | LOCK_NB) == 0) ::unlink(path.c_str());
        ::close(file);
    }
}

void removeUnfinishedFiles() {
    for (Place& place : unfinished) {
        if (place.state.load() == PlaceState::live) ::unlink(place.path.data());
    }
}

void installSignalCleanup() {
    for (const int signal_number : kEndingSignals) {
        struct sigaction before {};
        ::sigaction(signal_number, nullptr, &before);
        // A process started to ignore the signal (nohup) goes on ignoring it.
        if (before.sa_handler == SIG_IGN) continue;
        struct sigaction action {};
        action.sa_handler = removeUnfinished;
        sigemptyset(&action.sa_mask);
        for (const int other : kEndingSignals) sigaddset(&action.sa_mask, other);
        ::sigaction(signal_number, &action, nullptr);
    }
    // A file beyond the user's limit is an error of the write, not the end of the process.
    ::signal(SIGXFSZ, SIG_IGN);
}

void makeFolder(const fs::path& folder) {
    std::error_code error;
    fs::create_directories(folder, error);
    if (fs::is_directory(folder)) return;
    if (!error) error = std::make_error_code(std::errc::not_a_directory);
    const int number = error.value();
    throw RoomError(folder.string(), number == ENOTDIR || number == EEXIST
                                         ? "a file stands where this folder should be: name another"
                                         : "the folder can't be made (" + error.message() + ")");
}

}  // namespace plateloom::io
