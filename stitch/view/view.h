// A view: the panorama as a camera and its lens see it. One resample from panorama to frame:
// frame pixel -> (lens) -> ray -> world direction -> panorama pixel -> one filtered value, shaded
// by the lens where the look is the lens's.
#pragma once

#include <string>

#include "calib/lens.h"
#include "io/panorama_reader.h"
#include "io/picture.h"
#include "stitch/resample/overscan.h"
#include "stitch/resample/panorama_grid.h"

namespace plateloom::stitch {

/// What panorama a file holds: by what the user says, by what the file says, or by its 2:1 shape.
struct PanoramaClaim {
    std::optional<Projection> projection;
    std::optional<io::CylinderBand> band;
};
/// The band between two tilts, lower one first. Throws io::InputError where tan(tilt) has no sense
/// for a picture: beyond 89 degrees.
[[nodiscard]] io::CylinderBand cylinderBand(double low_deg, double high_deg);
/// Throws io::InputError: a shape that is not 2:1 where nothing tells the projection, a cylinder
/// without its band, an equirectangular panorama that is not 2:1.
[[nodiscard]] PanoramaGrid gridOf(const io::PanoramaFile& file, const PanoramaClaim& claim);

enum class Look {
    lens,  ///< distortion and shading of the lens: drops behind the recorded frame
    flat   ///< neither: an ideal pinhole of the same focal length
};

struct ViewCamera {
    calib::LensMap lens;
    calib::Matrix3d worldFromCamera = calib::Matrix3d::Identity();
};

struct View {
    io::Picture picture;  ///< RGBA, associated
    double covered = 0;   ///< share of its pixels that the panorama covers, 0 to 1
};

/// World direction to panorama pixels. `x` may be any copy of itself, a turn away.
[[nodiscard]] calib::Vector2d panoramaPixel(const PanoramaGrid& grid, bool samples_on_border,
                                            const calib::Vector3d& direction);

/// Frame position (pixels, centres at +0.5; beyond the frame for overscan) to world direction;
/// nullopt where the lens sees nothing.
[[nodiscard]] std::optional<calib::Vector3d> directionOf(const ViewCamera& camera, Look look,
                                                         const calib::Vector2d& frame_px);

/// Alpha is the panorama's, filtered as its colours are; what its file leaves out is transparent.
/// The filter is as wide as a frame pixel is in the panorama, along each of its axes, up to 64
/// panorama pixels. Throws io::InputError for a part of the panorama that can't be read.
///
/// Beside the picture it holds, for each thread, the part of the panorama under 128 x 128 pixels.
[[nodiscard]] View renderView(const io::PanoramaReader& panorama, const PanoramaGrid& grid,
                              const ViewCamera& camera, Look look, const PixelBounds& bounds);

/// Share of an RGBA picture's pixels whose alpha is above 0.
[[nodiscard]] double coveredShare(const io::Picture& picture);

}  // namespace plateloom::stitch
