// Where the seams of a moving panorama run, as pictures that a person can look at and paint on:
// EXR, one channel, 0 where no camera shows anything, else the number of the camera, 1 for the
// solve file's first line.
#pragma once

#include <cstdint>
#include <filesystem>
#include <vector>

#include "io/picture.h"

namespace plateloom::io {

/// FOLDER/seams.1001.exr: the seams from frame 1001 on. The folder is made; what it held of such
/// pictures goes. Throws RoomError.
void startSeamPictures(const std::filesystem::path& folder);
void writeSeamPicture(const std::filesystem::path& folder, int64_t frame, const Picture& cameras);
/// Throws InputError: not there, damaged, a value that is not a camera's number (0 to `cameras`).
[[nodiscard]] Picture readSeamPicture(const std::filesystem::path& folder, int64_t frame,
                                      int cameras);

}  // namespace plateloom::io
