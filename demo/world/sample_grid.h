// A grid of area samples of the scene, finer where the light changes.
#pragma once

#include <functional>

#include "io/picture.h"
#include "world/scene.h"

namespace plateloom::world {

/// Camera or world ray through a grid position (cells, centres at +0.5), nullopt where there is
/// none.
using GridRay = std::function<std::optional<Vector3d>(double x, double y)>;

/// Mean radiance of each cell, RGB. Each cell takes one sample; a cell that differs from its four
/// neighbours takes 9, 36 or 144 by how much. Deterministic for a seed.
[[nodiscard]] io::Picture sampleGrid(const SceneView& view, const GridRay& ray, int width,
                                     int height, uint32_t seed);

}  // namespace plateloom::world
