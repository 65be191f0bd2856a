#include "io/movie_frames.h"

#include <algorithm>
#include <climits>

#include "io/input_error.h"
#include "io/movie_reader.h"

namespace plateloom::io {

namespace {

std::string inWords(int first, int last) {
    return first < last ? "frames " + std::to_string(first) + " to " + std::to_string(last)
                        : "frame " + std::to_string(last);
}

constexpr const char* kWhyLost =
    " can't be decoded. The file is cut short, or OpenImageIO's reader holds its last frames back "
    "as others lean on them; numbered pictures would have them all";

}  // namespace

MovieFrames framesOfMovie(const std::filesystem::path& path, std::optional<FrameRange> asked) {
    // A range that begins and ends before the movie does is for the caller to refuse.
    if (asked && asked->last < 1) asked.reset();
    const MovieExtent extent = extentOfMovie(path, asked ? asked->last : INT_MAX);
    if (extent.counted > 0 && extent.last == 0)
        throw InputError(path.string(), "none of its frames can be decoded");
    MovieFrames frames{extent.last, extent.counted, ""};
    const int wanted = asked ? std::min(asked->last, extent.counted) : extent.counted;
    if (extent.last < wanted)
        frames.lost = inWords(extent.last + 1, wanted) +
                      (extent.last + 1 < wanted ? " are left out: they" : " is left out: it") +
                      kWhyLost;
    return frames;
}

std::vector<PlateFile> readPlateFrames(const std::filesystem::path& path,
                                       const std::string& colour_space,
                                       std::optional<FrameRange> asked,
                                       std::vector<std::string>* warnings) {
    const PlateFile header = readPlateHeader(path, colour_space);
    if (header.movie_frame < 0) return {header};
    const MovieFrames there = framesOfMovie(path, asked);
    const FrameRange wanted = asked.value_or(FrameRange{1, there.last});
    if (wanted.first < 1 || wanted.last > there.counted)
        throw InputError(path.string(), "has frames 1 to " + std::to_string(there.counted) +
                                            ", not all of --frames " +
                                            std::to_string(wanted.first) + "-" +
                                            std::to_string(wanted.last));
    if (wanted.last > there.last)
        throw InputError(path.string(),
                         inWords(std::max(wanted.first, there.last + 1), wanted.last) +
                             " of --frames" + kWhyLost);
    if (!there.lost.empty()) warnings->push_back(path.string() + ": " + there.lost);
    std::vector<PlateFile> frames;
    for (int frame = wanted.first; frame <= wanted.last; ++frame)
        frames.push_back(movieFrame(header, frame));
    return frames;
}

}  // namespace plateloom::io
