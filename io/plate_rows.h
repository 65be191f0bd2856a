// One stored row of a plate, from the numbers in the file to upright, linear, associated R G B A.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "io/code_range.h"
#include "io/colour.h"
#include "io/picture.h"
#include "io/picture_source.h"

namespace plateloom::io {

/// How the samples of the file lie in a band that was read: `first` is the channel that the band
/// starts with, `count` the channels in it.
struct ChannelSpan {
    int first = 0, count = 0;
};
[[nodiscard]] ChannelSpan channelSpan(const PictureSource& source, bool with_alpha);

/// Pixels of some rows that were not finite; PlatePixels says what becomes of them.
struct NotFinite {
    size_t holes = 0, infinite = 0;

    void operator+=(const NotFinite& other) {
        holes += other.holes;
        infinite += other.infinite;
    }
};

/// Converts rows of samples. Three ways, the shortest that is right for the file: halves that are
/// linear already are copied; code values go through a table (made once for each plate); everything
/// else goes through float.
class RowConverter {
public:
    /// `to_halves` says which of the two below will be called.
    RowConverter(const PictureSource& source, const std::string& colour_space, bool with_alpha,
                 bool to_halves);

    /// The type that rows have to be read in: as stored where a short way exists.
    [[nodiscard]] OIIO::TypeDesc readAs() const { return read_as_; }
    [[nodiscard]] const ChannelSpan& span() const { return span_; }

    /// `count` pixels at `samples` to R G B A. `covered` is set when any pixel has alpha above
    /// zero.
    NotFinite toHalves(const void* samples, size_t count, uint16_t* rgba, bool& covered);
    NotFinite toFloats(const void* samples, size_t count, float* rgba, bool& covered);

private:
    NotFinite copyHalves(const uint16_t* samples, size_t count, uint16_t* rgba,
                         bool& covered) const;
    template <typename Code>
    void lookUp(const Code* codes, size_t count, uint16_t* rgba) const;
    void gather(const void* samples, size_t count, float* rgba) const;

    const PictureSource& source_;
    Linearization linearization_;
    CodeRange codes_;
    ChannelSpan span_;
    std::array<int, 4> at_{};  ///< place of R, G, B, A in a pixel of the band; A -1 without
    OIIO::TypeDesc read_as_;
    std::vector<uint16_t> table_;  ///< linear half of each code value; empty where it can't be
    std::vector<float> row_;
};

}  // namespace plateloom::io
