// Movie files, through OpenImageIO's reader for them (FFmpeg). That reader is quick only from a
// frame to the next; for any other it decodes from near the movie's start. So readers are kept open
// between frames, and whoever asks for a frame gets one that stands shortly before it. Inside io
// only.
#pragma once

#include <OpenImageIO/imageio.h>

#include <filesystem>
#include <memory>

namespace plateloom::io {

/// A reader that stands right before `frame` (counted from 1), so that reading it decodes no other.
/// It is the caller's until the last pointer goes, then it is kept for the next frame. Throws
/// InputError where OpenImageIO was built without movies, for a movie that can't be opened, and for
/// a frame that it does not have.
[[nodiscard]] std::shared_ptr<OIIO::ImageInput> movieAt(const std::filesystem::path& path,
                                                        int frame);

/// After the frame was read: whether it is, bit for bit, what this reader handed over before. Then
/// it may be that the frame could not be decoded, which OpenImageIO's reader does not tell.
[[nodiscard]] bool repeatsLastFrame(const std::shared_ptr<OIIO::ImageInput>& movie, int frame);

/// As movieAt, freshly opened and kept for nobody: tells what a frame is beyond doubt.
[[nodiscard]] std::shared_ptr<OIIO::ImageInput> freshMovieAt(const std::filesystem::path& path,
                                                             int frame);

/// Which of a movie's frames can be had.
struct MovieExtent {
    int counted = 0;  ///< as many as the file says it has
    int last = 0;     ///< the last, of those up to `limit`, that can be decoded; 0: none can
};

/// OpenImageIO's reader keeps back a movie's last frames where frames lean on later ones (H.264's
/// B-frames): it never asks the decoder for what it still holds at the end. And a file may be cut
/// short. Opens the movie once and decodes nothing where every frame stands for itself and the file
/// says where each lies; else decodes up to the end once and, where frames seem lost, searches for
/// the last with a fresh reader for each try.
[[nodiscard]] MovieExtent extentOfMovie(const std::filesystem::path& path, int limit);

/// Number of frames that the movie's header says it has.
[[nodiscard]] int framesOf(const OIIO::ImageInput& movie);

}  // namespace plateloom::io
