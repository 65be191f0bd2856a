// A view as maps (uv_map.h): for whoever makes the same view in another package.
#pragma once

#include <filesystem>
#include <vector>

#include "stitch/view/view.h"

namespace plateloom::stitch {

/// What a view's maps are of.
struct MappedView {
    const ViewCamera& camera;
    Look look = Look::lens;
    PixelBounds bounds;
};

/// Beside the views' names: "bg.0001.exr" becomes "bg.view-uv.0001.exr" (where in the panorama each
/// pixel of the view lies; 0 to 1 even where the view crosses the panorama's left and right edge)
/// and, where the look is the lens's, "bg.view-shading.0001.exr" (what to multiply it with then).
/// Throws io::RoomError.
void writeViewMaps(const std::filesystem::path& folder, const std::filesystem::path& view,
                   const PanoramaGrid& grid, bool samples_on_border, const MappedView& mapped);

/// The files that it writes.
[[nodiscard]] std::vector<std::filesystem::path> viewMapPaths(const std::filesystem::path& folder,
                                                              const std::filesystem::path& view,
                                                              Look look);

/// "bg.0001.exr" and "view-uv": "bg.view-uv.0001.exr"; a name without a number gets it at its end.
[[nodiscard]] std::filesystem::path mapName(const std::filesystem::path& picture,
                                            const std::string& kind);

}  // namespace plateloom::stitch
