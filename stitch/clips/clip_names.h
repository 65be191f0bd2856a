// How papers name a clip: `cam1`, `cam1.mov`, `cam1.####.exr`, or one of its frames.
#pragma once

#include <string>

#include "io/clip.h"

namespace plateloom::stitch {

/// In any case, with or without folders.
[[nodiscard]] bool meansClip(const std::string& name, const io::Clip& clip);

/// Whether a lens track's file is called after the clip: `cam1.csv` exactly, else `cam1_lens.csv`
/// or `lens_cam1.csv`.
[[nodiscard]] bool isCalledAfter(const std::string& track, const io::Clip& clip, bool exactly);

}  // namespace plateloom::stitch
