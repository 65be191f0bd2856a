// What frame_file.h keeps of a file for the one that is made of it. Inside io only.
#pragma once

#include <OpenImageIO/imageio.h>

#include <vector>

#include "io/frame_file.h"

namespace plateloom::io {

struct FrameFile::Attributes {
    std::vector<OIIO::ImageSpec> specs;  ///< one a part, as read
};

}  // namespace plateloom::io
