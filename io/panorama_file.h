// The panorama on its way to disk, tile by tile. Tiled EXR (half or float) and tiled TIFF; written
// beside and renamed when finished. Sizes beyond 32,767 pixels are fine.
#pragma once

#include <filesystem>
#include <memory>

#include "io/picture.h"
#include "io/plate_file.h"

namespace plateloom::io {

class PanoramaWriter {
public:
    struct Format {
        int width = 0, height = 0;
        int tile = 256;    ///< EXR / TIFF tile edge, pixels
        bool half = true;  ///< EXR and TIFF of 32-bit float when false
        bool alpha = true;
    };
    /// Throws RoomError or InputError (an extension that is not .exr, .tif or .tiff).
    PanoramaWriter(const std::filesystem::path& path, const Format& format,
                   const PictureTags& tags);
    ~PanoramaWriter();

    /// RGBA float, `picture.width` x `picture.height` at (x, y); both must be multiples of the
    /// tile, and so must the size except at the right and bottom edges. Each pixel exactly once, in
    /// any order.
    void write(int x, int y, const Picture& picture);
    /// Values so far that half does not hold, written as the largest that it does; 0 for float.
    [[nodiscard]] size_t beyondHalf() const;
    /// Closes and renames. Without it nothing is left behind.
    void finish();

private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace plateloom::io
