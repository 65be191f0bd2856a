// Maps that let any compositing package do the same warp as this program: a UV map that says for
// each output pixel where its value lies in the source, and a shading map to multiply the warped
// picture with.
//
// Convention (common practice in compositing): 32-bit float EXR; red is x / width from the left,
// green y / height from the bottom, at pixel centres, so that 0 to 1 spans the source's display
// window; values below 0 and above 1 lie in its overscan. The map's own data window may be larger
// than its display window (it then makes an overscan picture). Blue is 1 where the map has an
// answer. Where it has none (beyond what the lens's polynomial is good for, behind the camera) red,
// green and blue are kNoSource, kNoSource and 0: well outside every source, so that a sampler finds
// nothing there; never NaN, which a sampler's filter would spread.
//
//     const auto map = uvMap(grid, [&](double x, double y) { return recordedFromFlat(lens, {x, y});
//     },
//                            recorded_width, recorded_height);
//     writeMap("flatten-uv.1001.exr", map, grid);
#pragma once

#include <filesystem>
#include <functional>
#include <optional>

#include "calib/sensor.h"
#include "io/picture.h"
#include "io/plate_file.h"

namespace plateloom::stitch {

/// The pixels that a map has: its data window against its display window.
struct MapGrid {
    int x = 0, y = 0, width = 0, height = 0;    ///< data window; y down
    int display_width = 0, display_height = 0;  ///< whose corner is (0, 0)
};

/// Ten pictures to the left and below: outside any overscan.
inline constexpr float kNoSource = -10;

/// Output position to source position, pixels of the display windows, centres at +0.5, y down. Must
/// be safe to call from several threads.
using SourcePosition = std::function<std::optional<calib::Vector2d>(double x, double y)>;

/// Exact on a lattice, and between its nodes within 0.001 source pixels (see position_lattice.h).
[[nodiscard]] io::Picture uvMap(const MapGrid& grid, const SourcePosition& source, int source_width,
                                int source_height);

/// Three equal channels of what to multiply each output pixel with; 0 where `factor` has no answer.
using ShadingFactor = std::function<std::optional<double>(double x, double y)>;
[[nodiscard]] io::Picture shadingMap(const MapGrid& grid, const ShadingFactor& factor);

/// Written beside and renamed. Throws io::RoomError.
void writeMap(const std::filesystem::path& path, const io::Picture& map, const MapGrid& grid,
              const io::PictureTags& tags = {});

}  // namespace plateloom::stitch
