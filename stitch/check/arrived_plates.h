// Plates as they arrive on disk: each is read and studied once; a file that is not whole yet is
// left for later, one that is damaged is told apart from it.
#pragma once

#include <filesystem>
#include <map>
#include <string>
#include <vector>

#include "io/plate_file.h"
#include "stitch/check/plate_study.h"
#include "stitch/survey/survey.h"

namespace plateloom::stitch {

/// A file on disk as it was when it was looked at.
struct FileStamp {
    uintmax_t bytes = 0;
    std::filesystem::file_time_type changed;
    bool operator==(const FileStamp&) const = default;
};

struct ArrivedPlate {
    std::filesystem::path path;
    FileStamp stamp;
    io::PlateFile file;
    PlateStudy study;  ///< `reduced` is empty where it had to be dropped
    double reading_s = 0;
    std::string fault;          ///< why it could not be read; "" for a whole one
    bool just_written = false;  ///< a moment before it was looked at: perhaps it is still growing
};

class ArrivedPlates {
public:
    /// `movie_frames`: which frame stands for a movie; else its first.
    explicit ArrivedPlates(PlateArguments arguments,
                           std::map<std::filesystem::path, int> movie_frames = {})
        : arguments_(std::move(arguments)), movie_frames_(std::move(movie_frames)) {}

    /// Looks again. False when a known file holds another picture now: then all is read anew, and
    /// what was found out before is of no use. With `waits`, a folder may be empty, and files that
    /// are not whole yet are waited for. Throws io::InputError when there is nothing to look at.
    bool update(bool waits);

    /// Whole ones, in the order in which they came; the first stay the first.
    [[nodiscard]] const std::vector<ArrivedPlate>& whole() const { return whole_; }
    /// Indices into whole(), in the order of their names.
    [[nodiscard]] const std::vector<int>& inOrder() const { return in_order_; }
    [[nodiscard]] const std::vector<ArrivedPlate>& damaged() const { return damaged_; }
    [[nodiscard]] const std::vector<std::filesystem::path>& waitingFor() const { return waiting_; }
    /// Panoramas and previews that a run wrote beside the plates.
    [[nodiscard]] const std::vector<io::PlateFile>& noPlates() const { return no_plates_; }
    /// A copy: path and what it is a copy of.
    [[nodiscard]] const std::vector<std::pair<std::filesystem::path, std::filesystem::path>>&
    copies() const {
        return copies_;
    }

    /// The plate made small.
    [[nodiscard]] io::PlatePixels smallPixels(int plate) const;
    static constexpr int kSmall_px = 768;

private:
    [[nodiscard]] std::vector<std::filesystem::path> pathsNow(bool waits);
    void dropBeyondBound();

    PlateArguments arguments_;
    std::map<std::filesystem::path, int> movie_frames_;
    std::vector<ArrivedPlate> whole_, damaged_;
    std::map<std::filesystem::path, int> known_;
    std::vector<int> in_order_;
    std::vector<std::filesystem::path> waiting_;
    std::vector<io::PlateFile> no_plates_;
    std::vector<std::pair<std::filesystem::path, std::filesystem::path>> copies_;
};

}  // namespace plateloom::stitch
