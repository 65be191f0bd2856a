// One look at a plate's pixels at full resolution, and all that a check needs to remember of it:
// the plate made small, how much of it is clipped or black, and how much fine detail stands where.
#pragma once

#include "io/picture.h"
#include "stitch/plates/detail_cells.h"

namespace plateloom::stitch {

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
