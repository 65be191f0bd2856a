// A finished frame with everything in it: all parts, all channels, each under its name and in its
// own type, and the file's attributes; read whole, written band by band. plate_file.h knows only
// the picture in it.
//
// In memory the filtered channels (io/channel_kind.h) lie three together, with a fourth: the alpha
// of their layer, which they are associated with, or 1. It also says where there is no sample, as
// PlatePixels has it: what stitch/resample/resample.h takes. The others lie each by itself.
#pragma once

#include <array>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

#include "io/channel_kind.h"
#include "io/made_mark.h"
#include "io/picture.h"
#include "io/plate_file.h"

namespace plateloom::io {

enum class SampleType { half, single, whole };
[[nodiscard]] inline size_t bytesOf(SampleType type) {
    return type == SampleType::half ? 2 : 4;
}

struct FrameChannel {
    std::string name;
    SampleType type = SampleType::half;
    ChannelKind kind = ChannelKind::colour;
};

struct FramePart {
    int x = 0, y = 0, width = 0, height = 0;  ///< data window, from the display window's corner
    std::vector<FrameChannel> channels;       ///< in the file's order

    /// Of a pixel of all channels, one after the other.
    [[nodiscard]] size_t pixelBytes() const;
};

struct FrameFile {
    std::filesystem::path path;
    int width = 0, height = 0;  ///< display window
    std::vector<FramePart> parts;
    size_t main_part = 0;  ///< the one that holds the picture
    struct Attributes;
    std::shared_ptr<const Attributes> attributes;
};

struct FramePixels {
    struct Filtered {
        std::array<int, 4> channel{-1, -1, -1, -1};  ///< of the part; the last is the alpha
        /// No sample is below 0 or above 1 (not asked of colours): neither must a filtered one be.
        std::array<bool, 4> is_share{false, false, false, false};
        /// Those four; without alpha A is 1. A hole where one of them is not finite.
        PlatePixels pixels;
    };
    struct Nearest {
        int channel = 0;
        std::vector<char> samples;
    };
    std::vector<Filtered> filtered;
    std::vector<Nearest> nearest;
    /// As PlatePixels has them, each plane's counted.
    size_t bad_pixels = 0, infinite_pixels = 0;
};

/// An EXR, opened as readPlateHeader did. Throws InputError for deep parts, channels of another
/// size than the frame, and colours that are not scene-linear.
[[nodiscard]] FrameFile readFrameHeader(const PlateFile& file);
[[nodiscard]] FramePixels readFramePart(const FrameFile& file, size_t part);

/// Any other picture as such a frame: R, G, B, and A if it has one, linear. Turned upright.
struct PlainFrame {
    FrameFile file;
    FramePixels pixels;
};
[[nodiscard]] PlainFrame readPlainFrame(const PlateFile& file);

/// How a frame that is written differs from its source.
struct FrameLayout {
    int x = 0, y = 0, width = 0, height = 0;  ///< data window, from the display window's corner
    /// A channel that the main part has after its own, of the type that is given; "": none.
    std::string alpha;
    SampleType alpha_type = SampleType::half;
};

/// Writes an EXR of the same parts, channels, types and attributes. Attributes that the new pixels
/// make untrue are left out. Beside and renamed.
class FrameWriter {
public:
    /// `recipe` and `found` as in PictureTags; finish() may say something else of the same length.
    FrameWriter(const std::filesystem::path& target, const FrameFile& source,
                const FrameLayout& layout, const std::string& recipe, const std::string& found,
                Made kind);
    ~FrameWriter();
    /// Rows [y, y + rows) of a part, pixels of all channels as FramePart::pixelBytes has it; parts
    /// and rows in order.
    void write(size_t part, int y, int rows, const char* samples);
    void finish(const std::string& found);

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace plateloom::io
