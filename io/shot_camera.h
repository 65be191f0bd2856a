// The shot's camera: for each frame of a shot where the camera looked and through what lens, out of
// a track (OpenTrackIO or CSV, see lens_track.h). Lenses move: each frame has its own sample.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "io/lens_track.h"
#include "io/plate_file.h"

namespace plateloom::io {

struct ShotFrame {
    int64_t number = 0;  ///< as in file names
    std::optional<Timecode> timecode;
    std::optional<FrameRate> rate;
    LensSample sample;  ///< always with a pose
    std::string where;  ///< "TRACK:LINE (sample N)", for a complaint about it
};

/// A frame that was asked for and that the track does not cover.
struct MissingFrame {
    int64_t number = 0;
    std::string why;
};

struct ShotCamera {
    std::vector<ShotFrame> frames;
    std::vector<MissingFrame> missing;
    std::vector<std::string> notes, warnings;
};

/// Frames by the track's own count: one for each frame that it has samples of, and one in `missing`
/// for each that it leaves out. They are numbered by the track's `frame` where it has that; else by
/// timecode, the first one being `first_frame` (1001 unless said); else one after the other from
/// there. `wanted` picks some of them. Throws InputError: no sample has a pose, the track has no
/// frame of those wanted.
[[nodiscard]] ShotCamera shotCamera(const LensTrack& track, std::optional<FrameRange> wanted,
                                    std::optional<int64_t> first_frame);

/// One for each recorded frame of the shot, by its timecode, else by the frame number in its name;
/// numbered by its name. Where a frame lies between two samples the camera is interpolated in time.
/// Throws InputError as above, and for frames that carry neither.
[[nodiscard]] ShotCamera shotCamera(const LensTrack& track, const std::vector<PlateFile>& shot);

}  // namespace plateloom::io
