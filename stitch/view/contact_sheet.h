// The whole shot at once: small pictures of its frames in a grid, each with its frame number.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "io/picture.h"
#include "stitch/resample/overscan.h"

namespace plateloom::stitch {

class ContactSheet {
public:
    /// For a shot of `frames`; when they are more than a person can look at (60), evenly spread
    /// ones are shown, the first and the last among them.
    explicit ContactSheet(size_t frames);

    [[nodiscard]] bool wants(size_t index) const;
    /// Linear RGBA over `bounds` of a frame of `width` x `height`; made small, the picture is not
    /// kept. Where it has overscan, the frame is drawn in it.
    void add(size_t index, const std::string& label, const io::Picture& picture,
             const PixelBounds& bounds, int width, int height);
    /// PNG. All frames are shown at one exposure. Throws RoomError.
    void write(const std::filesystem::path& path) const;

private:
    struct Cell {
        size_t index = 0;
        std::string label;
        io::Picture picture;
        int frame_x0 = 0, frame_y0 = 0, frame_x1 = 0, frame_y1 = 0;
        bool overscan = false;
    };
    size_t frames_;
    std::vector<Cell> cells_;
};

}  // namespace plateloom::stitch
