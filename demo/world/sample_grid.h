// A grid of area samples of the scene, finer where the light changes.
#pragma once

#include "io/picture.h"
#include "world/ray_lattice.h"
#include "world/scene.h"

namespace plateloom::world {

/// Mean radiance of each cell, RGB. Each cell takes one sample; a cell that differs from its four
/// neighbours takes 4, 16 or 64 by how much. Deterministic for a seed.
[[nodiscard]] io::Picture sampleGrid(const SceneView& view, const RayLattice& rays, uint32_t seed);

}  // namespace plateloom::world
