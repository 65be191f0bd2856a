#include "stitch/view/view_maps.h"

#include <cctype>

#include "stitch/resample/uv_map.h"

namespace plateloom::stitch {

std::filesystem::path mapName(const std::filesystem::path& picture, const std::string& kind) {
    const std::string stem = picture.stem().string();
    const size_t dot = stem.find_last_of('.');
    const bool numbered = dot != std::string::npos && dot + 1 < stem.size() &&
                          stem.find_first_not_of("0123456789", dot + 1) == std::string::npos;
    if (!numbered) return stem + "." + kind + ".exr";
    return stem.substr(0, dot) + "." + kind + stem.substr(dot) + ".exr";
}

std::vector<std::filesystem::path> viewMapPaths(const std::filesystem::path& folder,
                                                const std::filesystem::path& view, Look look) {
    std::vector<std::filesystem::path> paths{folder / mapName(view, "view-uv")};
    if (look == Look::lens) paths.push_back(folder / mapName(view, "view-shading"));
    return paths;
}

void writeViewMaps(const std::filesystem::path& folder, const std::filesystem::path& view,
                   const PanoramaGrid& grid, bool samples_on_border, const MappedView& mapped) {
    const ViewCamera& camera = mapped.camera;
    const Look look = mapped.look;
    const PixelBounds& bounds = mapped.bounds;
    const auto& sensor = camera.lens.sensor();
    const MapGrid map{bounds.x0,       bounds.y0,       bounds.width(),
                      bounds.height(), sensor.width_px, sensor.height_px};
    const auto place = [&](double x, double y) -> std::optional<calib::Vector2d> {
        const auto direction = directionOf(camera, look, {x, y});
        if (!direction) return std::nullopt;
        const auto px = panoramaPixel(grid, samples_on_border, *direction);
        if (px.y() < 0 || px.y() > grid.height) return std::nullopt;
        return px;
    };
    const auto paths = viewMapPaths(folder, view, look);
    writeMap(paths[0], uvMap(map, place, grid.width, grid.height), map);
    if (look != Look::lens) return;
    const auto share = [&](double x, double y) -> std::optional<double> {
        return std::max(0.0, camera.lens.transmission({x, y}));
    };
    writeMap(paths[1], shadingMap(map, share), map);
}

}  // namespace plateloom::stitch
