// Runs the built program as its user would, and catches what it says.
#pragma once

#include <sys/wait.h>

#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

namespace plateloom::test {

struct ProgramRun {
    int status = -1;  ///< exit status, or 128 + signal
    std::string out, err;
};

/// A folder of its own for one test, with a space in its name; removed at the end.
class Folder {
public:
    Folder() {
        std::string pattern =
            (std::filesystem::temp_directory_path() / "plateloom test XXXXXX").string();
        if (!mkdtemp(pattern.data())) std::abort();
        path_ = pattern;
    }
    ~Folder() {
        std::error_code ignored;
        std::filesystem::remove_all(path_, ignored);
    }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;
    [[nodiscard]] const std::filesystem::path& path() const { return path_; }
    [[nodiscard]] std::filesystem::path operator/(const std::string& name) const {
        return path_ / name;
    }

private:
    std::filesystem::path path_;
};

inline std::string contents(const std::filesystem::path& path) {
    std::ifstream in(path, std::ios::binary);
    std::ostringstream text;
    text << in.rdbuf();
    return text.str();
}

inline void put(const std::filesystem::path& path, const std::string& text) {
    std::ofstream(path, std::ios::binary) << text;
}

/// Shell-quoted path.
inline std::string quoted(const std::filesystem::path& path) {
    return "'" + path.string() + "'";
}

/// `arguments` as typed in a shell. The program is the one that $PLATELOOM names.
inline ProgramRun run(const std::string& arguments) {
    const char* program = std::getenv("PLATELOOM");
    if (!program) {
        std::fprintf(stderr, "set PLATELOOM to the built program (ctest does)\n");
        std::abort();
    }
    const Folder folder;
    const std::string command = quoted(program) + " " + arguments + " >" + quoted(folder / "out") +
                                " 2>" + quoted(folder / "err") + " </dev/null";
    const int code = std::system(command.c_str());
    ProgramRun result;
    result.status = WIFEXITED(code) ? WEXITSTATUS(code) : 128 + WTERMSIG(code);
    result.out = contents(folder / "out");
    result.err = contents(folder / "err");
    return result;
}

}  // namespace plateloom::test
