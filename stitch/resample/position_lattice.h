// Where output pixels fall on a recorded plate: exact on a lattice of output positions, and between
// them the cubic through the four nearest nodes along each axis. The exact map costs sines and,
// for most lenses, a Newton iteration; a lattice of 16 pixels needs it for 1 pixel in 128.
//
// The lattice lies on multiples of `step` of the output's own coordinates, so every working tile
// comes to the same bits. Each cell is checked: at its middle the cubic is compared with the exact
// map, and where they differ by more than the tolerance, or a node has no place on the plate
// (behind the camera, beyond the lens polynomial's valid radius), every pixel of the cell is
// computed exactly.
#pragma once

#include <array>
#include <cmath>
#include <functional>
#include <optional>
#include <vector>

#include "calib/sensor.h"
#include "stitch/resample/resample.h"

namespace plateloom::stitch {

/// A range of lattice cells; cell (i, j) covers output pixels [i step, (i + 1) step) and so on.
struct CellRange {
    int x0 = 0, y0 = 0, x1 = 0, y1 = 0;
};

class PositionLattice {
public:
    /// Output position (pixel centres at +0.5) to recorded pixels, or nothing.
    using Exact = std::function<std::optional<calib::Vector2d>(double x, double y)>;
    /// True where no output position within 3 steps, along both axes at once, falls on the plate.
    using Far = std::function<bool(double x, double y)>;

    struct Settings {
        int step = 16;
        double tolerance_px = 0.001;
        int plate_width = 0, plate_height = 0;
        bool beyond_plate = false;  ///< positions off the plate are wanted as well
        /// Where the plate's corner lies in the positions that `Exact` gives: floats are finer near
        /// 0 than at the far end of a large panorama.
        double corner_x = 0, corner_y = 0;
        /// Of a picture that goes round (a panorama): x and x + period_x are the same place. The
        /// points of one cell then hang together but where a pole lies among them, and x is never
        /// off the plate. 0 for a plate.
        double period_x = 0;
    };

    PositionLattice(Exact exact, Far far, const CellRange& cells, const Settings& settings);

    /// The sample points of cell (cx, cy), row by row, step x step of them. False when none of them
    /// falls on the plate (with `beyond_plate`: is anywhere); else those that don't have an x or y
    /// outside it.
    bool cell(int cx, int cy, SamplePoint* points);
    /// False for a point that the exact map has no position for.
    [[nodiscard]] static bool isSomewhere(const SamplePoint& point);
    [[nodiscard]] int step() const { return settings_.step; }

private:
    struct Node {
        enum State : char { unknown, far, invalid, valid } state = unknown;
        double x = 0, y = 0;
    };
    struct Corner {
        double scale_x = 1, scale_y = 1;
    };

    using Stencil = std::array<Node, 16>;  // the nodes round a cell

    const Node& node(int i, int j);
    [[nodiscard]] bool mayTouchPlate(const Stencil& nodes) const;
    [[nodiscard]] bool cubicHolds(int cx, int cy, const Stencil& nodes) const;
    void interpolate(const Stencil& nodes, SamplePoint* points) const;
    bool computeExactly(int cx, int cy, SamplePoint* points) const;
    [[nodiscard]] bool onPlate(double x, double y) const {
        const double right = x - settings_.corner_x, down = y - settings_.corner_y;
        return down >= 0 && down <= settings_.plate_height &&
               (settings_.period_x > 0 || (right >= 0 && right <= settings_.plate_width));
    }
    /// The copy of `x` that is nearest to `to`.
    [[nodiscard]] double near(double x, double to) const {
        return settings_.period_x > 0
                   ? x - settings_.period_x * std::round((x - to) / settings_.period_x)
                   : x;
    }

    Exact exact_;
    Far far_;
    CellRange cells_;
    Settings settings_;
    std::vector<std::array<double, 4>> weights_;  // of the four nodes, for each pixel of a cell
    int nodes_across_ = 0;
    std::vector<Node> nodes_;
};

}  // namespace plateloom::stitch
