// Records the square: through a lens onto a plate, or straight onto a panorama (the truth).
//
// A plate is sampled on a grid finer than its pixels. Cells that differ from their neighbours are
// sampled again, more densely the more they differ, so that a lamp 400 times white has the right
// energy wherever it falls. The grid is then weighed with the point spread function: a pixel's own
// square spread by the lens's blur. So a plate is band-limited, as recorded plates are.
#pragma once

#include <functional>

#include "calib/lens.h"
#include "io/picture.h"
#include "world/ray_lattice.h"
#include "world/scene.h"

namespace plateloom::world {

struct RenderSettings {
    int samples = 2;           ///< grid cells a pixel in each direction; 2 to 4
    double blur_px = 0.6;      ///< sigma of the lens's Gaussian spread
    double exposure = 1.0;     ///< recorded = scene x transmission x exposure
    Rgb balance{1, 1, 1};      ///< white balance, a factor a channel
    double noise = 0.0;        ///< one sigma at recorded 1.0, photon-like; 0: none
    double read_noise = 0.05;  ///< read noise as a share of `noise`
    uint32_t seed = 1;         ///< of the noise and of where samples fall
};

/// The rays of a plate's grid: `samples` cells a pixel in each direction, with the margin that the
/// spread needs round the frame (spreadMargin_px). None where the lens's polynomial does not reach.
/// `lens` has to outlive them.
[[nodiscard]] RayLattice raysOf(const calib::LensMap& lens, const calib::Matrix3d& worldFromCamera,
                                const RenderSettings& settings);

/// The recorded plate, RGB, before it is quantised. The same for any number of threads. Pixels that
/// the lens's polynomial does not reach are 0.
[[nodiscard]] io::Picture renderPlate(const Scene& scene, const calib::LensMap& lens,
                                      const calib::Matrix3d& worldFromCamera,
                                      const calib::Vector3d& origin_m, std::optional<double> time_s,
                                      const RenderSettings& settings);

/// The same in two steps: the light that falls through the lens, the same for as long as camera and
/// scene stand still; and what the camera makes of it.
[[nodiscard]] io::Picture renderLight(const Scene& scene, const calib::LensMap& lens,
                                      const calib::Matrix3d& worldFromCamera,
                                      const calib::Vector3d& origin_m, std::optional<double> time_s,
                                      const RenderSettings& settings);
void exposeLight(io::Picture& light, const calib::LensMap& lens, const RenderSettings& settings);

/// World direction of a position in the panorama (pixels, centres at +0.5).
using Direction = std::function<calib::Vector3d(double x, double y)>;

/// OpenEXR latlong, the middle column at pan 0, turned so that a direction of the picture is
/// `worldFromPicture` of it in the scene.
[[nodiscard]] Direction latlong(int width, int height, const calib::Matrix3d& worldFromPicture);

/// Mean radiance over each pixel's square of a width x height picture, RGB.
[[nodiscard]] io::Picture renderPanorama(const Scene& scene, const Direction& direction, int width,
                                         int height, const calib::Vector3d& origin_m,
                                         std::optional<double> time_s, uint32_t seed = 1);

}  // namespace plateloom::world
