// The rule for outputs, in one place; every job asks it before any work.
//
//   * An output is never one of the inputs, nor another output: compared by device and inode,
//     through links; names that are still free by their folder and name, whatever the case.
//   * An existing file is replaced only if this program made it as the same kind of file and nobody
//     changed it since (made_mark.h), or with --overwrite.
//
//     io::OutputGuard guard(overwrite);
//     for (const auto& plate : plates) guard.reads(plate);
//     guard.writes(pano, Made::panorama);
//     guard.check();
#pragma once

#include <filesystem>
#include <stdexcept>
#include <string>
#include <vector>

#include "io/made_mark.h"

namespace plateloom::io {

/// An output that would replace what it must not. The command line is wrong: exit status 2.
class OutputRefused : public std::runtime_error {
public:
    OutputRefused(const std::string& where, const std::string& what)
        : std::runtime_error(where + ": " + what) {}
};

class OutputGuard {
public:
    explicit OutputGuard(bool overwrite = false) : overwrite_(overwrite) {}

    /// An input; one that does not exist is left to whoever reads it.
    void reads(const std::filesystem::path& path);
    void reads(const std::vector<std::filesystem::path>& paths);
    void writes(const std::filesystem::path& path, Made kind);
    /// An output that takes up what is there, or that the job judges itself when it comes to it
    /// (mayReplace): compared with inputs and outputs, not with what is there.
    void takesUp(const std::filesystem::path& path);

    /// Throws OutputRefused; then removes what killed runs left in the outputs' folders.
    void check() const;

    /// Of one file, now. Throws OutputRefused.
    void mayReplace(const std::filesystem::path& path, Made kind) const;

    [[nodiscard]] bool overwrites() const { return overwrite_; }

private:
    struct Output {
        std::filesystem::path path;
        Made kind = Made::page;
        bool judged = true;
    };
    bool overwrite_;
    std::vector<std::filesystem::path> inputs_;
    std::vector<Output> outputs_;
};

}  // namespace plateloom::io
