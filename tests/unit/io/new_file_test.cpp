#include "io/new_file.h"

#include <signal.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <atomic>
#include <catch2/catch.hpp>
#include <functional>
#include <thread>

#include "io/input_error.h"
#include "tests/program.h"

namespace fs = std::filesystem;
using namespace plateloom::io;
using plateloom::test::contents;
using plateloom::test::Folder;
using plateloom::test::put;

namespace {

size_t filesIn(const fs::path& folder) {
    size_t count = 0;
    for ([[maybe_unused]] const auto& entry : fs::directory_iterator(folder)) ++count;
    return count;
}

// Runs `job` in a process of its own; how that process ended.
int endOf(const std::function<void()>& job) {
    const pid_t child = ::fork();
    if (child == 0) {
        job();
        ::_exit(0);
    }
    int status = 0;
    ::waitpid(child, &status, 0);
    return status;
}

}  // namespace

TEST_CASE("A new file bears its name only once it is committed") {
    const Folder folder;
    const fs::path target = folder / "pano.exr";
    put(target, "old");
    {
        NewFile file(target);
        CHECK(file.path().parent_path() == fs::absolute(folder.path()));
        CHECK(file.path().extension() == ".exr");
        CHECK(file.path().filename().string().front() == '.');
        put(file.path(), "new");
        CHECK(contents(target) == "old");
        file.commit();
    }
    CHECK(contents(target) == "new");
    CHECK(filesIn(folder.path()) == 1);
}

TEST_CASE("A new file that is given up leaves nothing, and the old one as it was") {
    const Folder folder;
    put(folder / "pano.exr", "old");
    {
        NewFile file(folder / "pano.exr");
        put(file.path(), "half of it");
    }
    CHECK(contents(folder / "pano.exr") == "old");
    CHECK(filesIn(folder.path()) == 1);
}

TEST_CASE("Two new files for one target do not meet") {
    const Folder folder;
    NewFile one(folder / "a.exr"), other(folder / "a.exr");
    CHECK(one.path() != other.path());
}

TEST_CASE("Whatever ends the process, unfinished files are removed, finished ones stay") {
    for (const int signal_number : {SIGINT, SIGTERM, SIGHUP, SIGQUIT, SIGPIPE}) {
        INFO("signal " << signal_number);
        const Folder folder;
        const int status = endOf([&] {
            installSignalCleanup();
            NewFile done(folder / "done.exr");
            put(done.path(), "whole");
            done.commit();
            NewFile first(folder / "a.exr"), second(folder / "b.tif");
            put(first.path(), "half of it");
            ::raise(signal_number);
        });
        REQUIRE(WIFSIGNALED(status));
        CHECK(WTERMSIG(status) == signal_number);
        CHECK(filesIn(folder.path()) == 1);
        CHECK(contents(folder / "done.exr") == "whole");
    }
}

TEST_CASE("A process that was started to ignore the hang-up goes on after it") {
    const Folder folder;
    const int status = endOf([&] {
        ::signal(SIGHUP, SIG_IGN);
        installSignalCleanup();
        NewFile file(folder / "a.exr");
        ::raise(SIGHUP);
        file.commit();
    });
    CHECK(WIFEXITED(status));
    CHECK(fs::exists(folder / "a.exr"));
}

TEST_CASE("More unfinished files than places are still written") {
    const Folder folder;
    std::vector<std::unique_ptr<NewFile>> files;
    for (int i = 0; i < 200; ++i) {
        files.push_back(std::make_unique<NewFile>(folder / std::to_string(i)));
    }
    for (auto& file : files) file->commit();
    CHECK(filesIn(folder.path()) == 200);
}

TEST_CASE("A folder that is missing, or is none, or is not for writing, is named") {
    const Folder folder;
    put(folder / "file", "x");
    CHECK_THROWS_WITH(
        NewFile(folder / "missing/pano.exr"),
        Catch::Contains((folder / "missing").string() + ":") && Catch::Contains("does not exist"));
    CHECK_THROWS_WITH(
        NewFile(folder / "file/pano.exr"),
        Catch::Contains((folder / "file").string() + ":") && Catch::Contains("not a folder"));
    CHECK_THROWS_WITH(NewFile(folder.path()), Catch::Contains("is a folder"));
    CHECK_THROWS_AS(NewFile("/proc/pano.exr"), RoomError);  // even root makes nothing there
    CHECK_THROWS_WITH(NewFile(folder / std::string(300, 'n')), Catch::Contains("too long"));
    if (::geteuid() != 0) {
        fs::create_directory(folder / "locked");
        fs::permissions(folder / "locked", fs::perms::owner_read | fs::perms::owner_exec);
        CHECK_THROWS_WITH(NewFile(folder / "locked/pano.exr"), Catch::Contains("no permission"));
    }
}

TEST_CASE("A device is never replaced by a file") {
    CHECK_THROWS_WITH(NewFile("/dev/null"), Catch::Contains("/dev/null"));
    struct stat status {};
    REQUIRE(::stat("/dev/null", &status) == 0);
    CHECK(S_ISCHR(status.st_mode));
}

TEST_CASE("A link goes on pointing to the file, which is replaced") {
    const Folder folder;
    fs::create_directory(folder / "disk");
    put(folder / "disk/real.exr", "old");
    fs::create_symlink(folder / "disk/real.exr", folder / "link.exr");
    NewFile file(folder / "link.exr");
    put(file.path(), "new");
    file.commit();
    CHECK(fs::is_symlink(folder / "link.exr"));
    CHECK(contents(folder / "disk/real.exr") == "new");
}

TEST_CASE("A folder for output is made with its parents, unless a file is in the way") {
    const Folder folder;
    makeFolder(folder / "a/b/c");
    CHECK(fs::is_directory(folder / "a/b/c"));
    makeFolder(folder / "a/b/c");
    put(folder / "file", "x");
    CHECK_THROWS_AS(makeFolder(folder / "file"), RoomError);
    CHECK_THROWS_WITH(makeFolder(folder / "file/below"), Catch::Contains("file stands where"));
    CHECK_THROWS_AS(makeFolder("/proc/below"), RoomError);
}

TEST_CASE("A killed process leaves a file that the next run removes; a live one's stays") {
    const Folder folder;
    const int status = endOf([&] {
        const NewFile left(folder / "a.exr");
        put(left.path(), "half of it");
        ::raise(SIGKILL);
    });
    REQUIRE(WIFSIGNALED(status));
    CHECK(filesIn(folder.path()) == 1);
    const NewFile alive(folder / "b.exr");
    removeLeftovers(folder.path());
    CHECK(filesIn(folder.path()) == 1);
    CHECK(fs::exists(alive.path()));
}

TEST_CASE("While others clear up, a new file keeps its name and its bytes") {
    const Folder folder;
    std::atomic<bool> done{false};
    std::thread other([&] {
        while (!done) removeLeftovers(folder.path());
    });
    for (int i = 0; i < 300; ++i) {
        NewFile file(folder / "a.txt");
        file.write("whole ");
        file.write("text");
        file.commit();
        fs::rename(folder / "a.txt", folder / "kept.txt");
        REQUIRE(contents(folder / "kept.txt") == "whole text");
    }
    done = true;
    other.join();
    CHECK(filesIn(folder.path()) == 1);
}
