// A grid of area samples of the scene, finer where the light changes.
#pragma once

#include <functional>

#include "io/picture.h"
#include "world/ray_lattice.h"
#include "world/scene.h"

namespace plateloom::world {

/// Part of a grid, in cells.
struct GridRegion {
    int x0 = 0, y0 = 0, width = 0, height = 0;
};

/// Mean radiance of each cell, RGB. Each cell takes one sample; a cell that differs from its four
/// neighbours takes 4, 16 or 64 by how much. Deterministic for a seed.
[[nodiscard]] io::Picture sampleGrid(const SceneView& view, const RayLattice& rays, uint32_t seed);
/// A part of the same; cells at its edge may take fewer samples.
[[nodiscard]] io::Picture sampleGrid(const SceneView& view, const RayLattice& rays, uint32_t seed,
                                     const GridRegion& region);

/// Adds what comes along a unit vector to `sum`, a value a channel.
using LightAlong = std::function<void(const Vector3d& direction, float* sum)>;
/// The same of anything that can be told along a ray, in any number of channels.
[[nodiscard]] io::Picture sampleGrid(const LightAlong& light, int channels, const RayLattice& rays,
                                     uint32_t seed, const GridRegion& region);

}  // namespace plateloom::world
