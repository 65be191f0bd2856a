#include "io/output_guard.h"

#include <sys/stat.h>

#include <map>
#include <optional>
#include <set>
#include <utility>

#include "io/file_name.h"
#include "io/new_file.h"

namespace fs = std::filesystem;

namespace plateloom::io {

namespace {

using FileId = std::pair<dev_t, ino_t>;

std::optional<FileId> idOf(const fs::path& path) {
    struct stat status {};
    if (::stat(path.c_str(), &status) != 0) return std::nullopt;
    return FileId{status.st_dev, status.st_ino};
}

// The file's folder and its name in small letters: some disks take names that differ in case for
// one, and what a job writes may be copied to such a disk later.
std::string foldedPath(fs::path path) {
    std::error_code error;
    // A link to where nothing is yet is not followed by weakly_canonical.
    constexpr int kMostLinks = 40;
    for (int i = 0; i < kMostLinks && fs::is_symlink(path, error) && !fs::exists(path, error); ++i)
        path = path.parent_path() / fs::read_symlink(path, error);
    fs::path whole = fs::weakly_canonical(fs::absolute(path, error), error);
    if (error) whole = fs::absolute(path, error).lexically_normal();
    return (whole.parent_path() / lowered(whole.filename().string())).string();
}

[[noreturn]] void refuseTwins(const fs::path& output, const fs::path& other) {
    throw OutputRefused(output.string(),
                        other == output
                            ? "would be written twice; write into different folders"
                            : "is also written as " + other.string() +
                                  ", and some disks take them for one file; give the outputs "
                                  "different names or folders");
}

}  // namespace

void OutputGuard::reads(const fs::path& path) {
    if (!path.empty()) inputs_.push_back(path);
}

void OutputGuard::reads(const std::vector<fs::path>& paths) {
    for (const auto& path : paths) reads(path);
}

void OutputGuard::writes(const fs::path& path, Made kind) {
    outputs_.push_back({path, kind, true});
}

void OutputGuard::takesUp(const fs::path& path) {
    outputs_.push_back({path, Made::page, false});
}

void OutputGuard::mayReplace(const fs::path& path, Made kind) const {
    if (overwrite_) return;
    std::error_code error;
    // What is no file is refused by whoever opens it, in other words.
    if (!fs::is_regular_file(path, error)) return;
    switch (standingOf(path, kind)) {
        case Standing::absent:
        case Standing::ours:
            return;
        case Standing::changed:
            throw OutputRefused(path.string(),
                                "was changed since plateloom wrote it; choose another name, or "
                                "give --overwrite to replace it");
        case Standing::foreign:
            throw OutputRefused(path.string(),
                                "exists, and this command did not make it; choose another name, or "
                                "give --overwrite to replace it");
    }
}

void OutputGuard::check() const {
    std::map<FileId, fs::path> inputs;
    for (const auto& path : inputs_)
        if (const auto id = idOf(path)) inputs.emplace(*id, path);
    std::map<FileId, fs::path> existing;
    std::map<std::string, fs::path> names;
    for (const auto& output : outputs_) {
        const auto id = idOf(output.path);
        if (const auto input = id ? inputs.find(*id) : inputs.end(); input != inputs.end())
            throw OutputRefused(output.path.string(),
                                input->second == output.path
                                    ? "is an input and would be overwritten; choose another name "
                                      "or folder for the output"
                                    : "is the same file as the input " + input->second.string() +
                                          "; choose another name or folder for the output");
        const auto [same, is_new] = names.emplace(foldedPath(output.path), output.path);
        if (!is_new) refuseTwins(output.path, same->second);
        if (!id) continue;
        const auto [twin, is_first] = existing.emplace(*id, output.path);
        if (!is_first) refuseTwins(output.path, twin->second);
    }
    std::set<fs::path> folders;
    for (const auto& output : outputs_) {
        if (output.judged) mayReplace(output.path, output.kind);
        folders.insert(output.path.parent_path());
    }
    for (const auto& folder : folders) removeLeftovers(folder.empty() ? "." : folder);
}

}  // namespace plateloom::io
