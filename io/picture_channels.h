// Which part and which channels of a file are the picture.
#pragma once

#include <OpenImageIO/imageio.h>

#include <array>
#include <filesystem>

#include "io/picture_source.h"

namespace plateloom::io {

struct ChosenChannels {
    int part = 0;
    std::array<int, 4> channel{-1, -1, -1, -1};  ///< R, G, B, A; see PictureSource
};

/// By name, in any order: plain R, G, B (and A) in the first part that has them; else a layer's
/// ("beauty.R"); else Y. Files whose channels have no such names go by their number: one is grey, a
/// second or fourth is alpha. Throws InputError when there is no picture, or several layers and no
/// way to tell which.
[[nodiscard]] ChosenChannels chooseChannels(const std::filesystem::path& path,
                                            OIIO::ImageInput& input, FileKind kind);

}  // namespace plateloom::io
