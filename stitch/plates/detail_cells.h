// How much fine detail stands where on a recorded plate, and how much noise: what tells a sharp
// plate from a soft one and a clean one from a noisy one, for `check` and for the choice of seams.
#pragma once

#include <opencv2/core.hpp>
#include <vector>

#include "io/picture.h"

namespace plateloom::stitch {

/// Detail by cells of a plate, row by row. Energies are means of squared differences of light.
struct DetailCells {
    int columns = 0, rows = 0;
    double step_x = 0, step_y = 0;  ///< a cell's share of the picture's width and height
    std::vector<float> light;  ///< mean luminance, as recorded; below 0: the cell does not count
    /// Between next neighbours, noise taken off: detail at the pixel's scale.
    std::vector<float> fine;
    std::vector<float> coarse;  ///< between pixels that stand four apart
    /// What of the differences between next neighbours may be noise: noise of single pixels shows
    /// as much along diagonals as along rows; what a lens has drawn does much less.
    std::vector<float> grain;
    std::vector<float> noise;  ///< what of the differences is noise in cells as bright as this one

    [[nodiscard]] size_t at(int x, int y) const { return size_t(y) * columns + x; }
};

/// Rows of a plate: luminance as float, and what each pixel is.
struct MarkedPixels {
    enum Mark : uint8_t { clipped = 1, black = 2, no_picture = 4 };

    cv::Mat light, mark;
    size_t clipped_count = 0, black_count = 0, picture_count = 0;
};
[[nodiscard]] MarkedPixels markPixels(const io::PlatePixels& pixels, int first_row, int rows);

/// Empty for a plate smaller than one cell. A few rows at a time: memory does not grow with the
/// plate.
[[nodiscard]] DetailCells detailCells(const io::PlatePixels& pixels);
/// The same where the whole plate is marked already.
[[nodiscard]] DetailCells detailCells(const MarkedPixels& whole);

}  // namespace plateloom::stitch
