// A picture of a flat field, read into cells: what a lens's shading is fitted to.
//
// A cell's light is the mean of its pixels without those that stand out from its median by more
// than 3.5 robust sigmas: dead pixels and the edges of dust go here, what dust darkens a whole cell
// goes in the fit (calib/field_shading.h). Channels are joined after each is divided by its own
// median, so that a coloured lamp does not let one channel decide.
#pragma once

#include <vector>

#include "calib/field_shading.h"
#include "io/picture.h"

namespace plateloom::stitch {

struct FieldLight {
    int columns = 0, rows = 0;
    std::vector<calib::FieldCell> cells;  ///< row by row; light 0 where a cell tells nothing
    double level = 0;                     ///< median over picture and channels, linear, after black
    double grain = 0;                     ///< median over cells of a pixel's robust sigma, relative
    int clipped_cells = 0;  ///< cells with more than 2 % of their pixels at the clip level
    int empty_cells = 0;    ///< nothing recorded there, or nothing above black
};

/// `black`: the linear level that the camera records without light. `flat_mm` of the cells is `mm`.
[[nodiscard]] FieldLight fieldLight(const io::PlatePixels& pixels, const calib::Sensor& sensor,
                                    double black);

}  // namespace plateloom::stitch
