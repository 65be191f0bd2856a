// Rays through a picture, exact at the nodes of a coarse lattice and interpolated between them: a
// lens takes long to invert, and its rays change slowly. Bicubic (Lagrange, four nodes a side), so
// the error falls with the fourth power of the step: below 1e-5 of a plate pixel for the lenses
// here, see tests/unit/world.
#pragma once

#include <functional>
#include <optional>
#include <vector>

#include "world/square_plan.h"

namespace plateloom::world {

/// Unit world ray through a grid position (cells, centres at +0.5), nullopt where there is none.
using GridRay = std::function<std::optional<Vector3d>(double x, double y)>;

class RayLattice {
public:
    RayLattice(GridRay exact, int width, int height);

    /// Where a node has no ray, the exact one is asked for.
    [[nodiscard]] std::optional<Vector3d> at(double x, double y) const;

    [[nodiscard]] int width() const { return width_; }
    [[nodiscard]] int height() const { return height_; }

private:
    static constexpr int kStep = 16;
    GridRay exact_;
    int width_, height_, columns_;
    std::vector<Vector3d> nodes_;  // node (i, j) lies at ((i - 1) kStep, (j - 1) kStep)
    std::vector<uint8_t> whole_;   // per lattice cell: all 16 nodes have a ray
};

}  // namespace plateloom::world
