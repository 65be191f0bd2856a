// A small picture as the bytes of a JPEG file, to travel inside something else.
#pragma once

#include <string>

#include "io/picture.h"

namespace plateloom::io {

/// `picture` has three channels of display values, 0 to 1; `quality` is 1 to 100. Throws RoomError
/// when there is no memory for it.
[[nodiscard]] std::string jpegOf(const Picture& picture, int quality);

}  // namespace plateloom::io
