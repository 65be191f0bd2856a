// Where the seams of a moving panorama run, as pictures that a person can look at and paint on:
// EXR, one channel, 0 where no camera shows anything, else the number of the camera, 1 for the
// solve file's first line.
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "io/new_file.h"
#include "io/picture.h"

namespace plateloom::io {

/// FOLDER/seams.1001.exr: the seams from frame 1001 on. Under its hidden name until it is
/// committed. `set`: what the solve's files that were written together bear (SolvedClip); "" for
/// none. The folder is there. Throws RoomError.
[[nodiscard]] std::unique_ptr<NewFile> writeSeamPicture(const std::filesystem::path& folder,
                                                        int64_t frame, const Picture& cameras,
                                                        const std::string& set);
/// The seam pictures that the folder holds, by name; none where there is no folder.
[[nodiscard]] std::vector<std::filesystem::path> seamPictures(const std::filesystem::path& folder);
/// Removes those but of these frames.
void keepSeamPictures(const std::filesystem::path& folder, const std::vector<int64_t>& frames);
/// "" where a picture does not say: a program that paints may drop it.
[[nodiscard]] std::string setOfSeamPicture(const std::filesystem::path& folder, int64_t frame);
/// Throws InputError: not there, damaged, a value that is not a camera's number (0 to `cameras`).
[[nodiscard]] Picture readSeamPicture(const std::filesystem::path& folder, int64_t frame,
                                      int cameras);

}  // namespace plateloom::io
