// Which code values of a file stand for no light and for full light.
//
// DPX (SMPTE ST 268-1) states them twice: in the television header (black level and white level
// code value), and for each image element (reference low and high data code value). Video often
// has 64 and 940 of 1023 there. Black and what is below it, and white and what is above it, come
// out on the same straight line.
#pragma once

#include "io/picture_source.h"

namespace plateloom::io {

/// As shares of the largest code value.
struct CodeRange {
    float black = 0, white = 1;

    [[nodiscard]] bool isFull() const { return black == 0 && white == 1; }
    [[nodiscard]] float operator()(float code) const { return (code - black) / (white - black); }
};

/// Full for all files but DPX, for a DPX whose codes are logarithmic (there they stand for
/// densities), and where the header's values make no range.
[[nodiscard]] CodeRange codeRangeOf(const PictureSource& source);

/// Does the DPX transfer characteristic say scene light, or the BT.709 curve?
[[nodiscard]] bool isLinearDpx(const OIIO::ImageSpec& spec);
[[nodiscard]] bool isVideoDpx(const OIIO::ImageSpec& spec);

}  // namespace plateloom::io
