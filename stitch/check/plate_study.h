// One look at a plate's pixels at full resolution, and all that a check needs to remember of it:
// the plate made small, how much of it is clipped or black, and how much fine detail stands where.
#pragma once

#include <vector>

#include "io/picture.h"

namespace plateloom::stitch {

/// Detail by cells of a plate, row by row. Energies are means of squared differences of light.
struct DetailCells {
    int columns = 0, rows = 0;
    double step_x = 0, step_y = 0;  ///< a cell's share of the picture's width and height
    std::vector<float> light;  ///< mean luminance, as recorded; below 0: the cell does not count
    std::vector<float>
        fine;  ///< between next neighbours, noise taken off: detail at the pixel's scale
    std::vector<float> coarse;  ///< between pixels that stand four apart
    std::vector<float> noise;   ///< what of the differences is noise in cells as bright as this one

    [[nodiscard]] size_t at(int x, int y) const { return size_t(y) * columns + x; }
};

struct PlateStudy {
    io::PlatePixels reduced;          ///< areas averaged; clipped where much of an area is
    double clipped = 0, crushed = 0;  ///< shares of the picture
    DetailCells detail;
    /// Fine detail over coarse, by the plate's own textured cells (natural log): falls when a plate
    /// is soft, whatever it shows. 0 where nothing is textured.
    double fineness = 0;
    double textured = 0;  ///< share of the cells that show clearly more than noise
};

/// `longest_edge_px`: of the reduced plate; a smaller plate stays as it is.
[[nodiscard]] PlateStudy studyPlate(const io::PlatePixels& pixels, int longest_edge_px);

/// Size of the reduced plate.
struct ReducedSize {
    int width = 0, height = 0;
};
[[nodiscard]] ReducedSize reducedSize(int width, int height, int longest_edge_px);

}  // namespace plateloom::stitch
