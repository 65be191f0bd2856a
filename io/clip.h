// A clip: the frames of one camera, as numbered files (`cam1.####.exr`) or a movie file, and when
// they were shot. What a frame is, is io/plate_file.h's business; this says which there are.
#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "io/plate_file.h"
#include "io/timecode.h"

namespace plateloom::io {

struct Clip {
    /// "cam1": the file's name without frame number and extension; the folder's where nothing is
    /// left, and with the folder before it where two clips have one name.
    std::string name;
    std::string pattern;  ///< FOLDER/cam1.####.exr, or the movie's path
    bool movie = false;   ///< its frames are numbered from 1
    /// Numbers of the frames that are there, ascending, each once.
    std::vector<int64_t> numbers;
    std::vector<std::filesystem::path> files;  ///< one a number; none of a movie
    PlateFile first;  ///< header of the first frame: all have its size, colour space and rate
    std::string colour_space;  ///< as asked for; "" leaves it to the files
    std::optional<FrameRate> rate;
    std::optional<Timecode> start;  ///< of the first frame; none where it stands still

    [[nodiscard]] bool has(int64_t number) const;
    /// Header of one frame, read now (a movie's is counted from the first one's). Throws InputError
    /// for a frame that is not there (any more), is damaged, or has another size than the first.
    [[nodiscard]] PlateFile frame(int64_t number) const;
};

struct Clips {
    std::vector<Clip> clips;
    std::vector<std::string> notes, warnings;  ///< missing and doubled frames, per clip
};

/// PLATES as clips: each `name.####.ext`, each movie file, and each sequence of numbered pictures
/// in a folder (two or more of one name) is a clip; a folder without any stands for the folders in
/// it, one a camera; single numbered files of one name given one by one (as a shell expands
/// name.*.exr) are one too. `frames` keeps those numbers only. Where a frame is there in two
/// formats, or under two names, one is used and the other told of. Throws InputError for what does
/// not exist, holds no sequence, or whose first frame can't be read. Of plates, panoramas and
/// previews that an earlier run wrote beside them are left out and told of.
enum class ClipsOf { plates, panoramas };
[[nodiscard]] Clips findClips(const std::vector<std::string>& arguments,
                              std::optional<FrameRange> frames, const std::string& colour_space,
                              ClipsOf what = ClipsOf::plates);

}  // namespace plateloom::io
