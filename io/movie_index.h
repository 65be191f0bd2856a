// What the boxes of a QuickTime or MP4 file say without any frame being decoded (ISO/IEC 14496-12,
// ISO base media file format, which took QuickTime's over). Inside io only.
#pragma once

#include <filesystem>

namespace plateloom::io {

/// Whether every frame that the file's index counts lies in the file and is shown: all boxes (4.2)
/// end inside the file, and the picture's edit list (8.6.6) is none or begins at the first frame
/// and reaches the last. False as well for what is not understood: another kind of file, one with
/// movie fragments (8.8), one with several pictures.
[[nodiscard]] bool showsAllFramesCounted(const std::filesystem::path& path);

}  // namespace plateloom::io
