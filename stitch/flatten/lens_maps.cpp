#include "stitch/flatten/lens_maps.h"

#include <algorithm>
#include <cmath>
#include <string>

#include "io/new_file.h"
#include "io/numbered_files.h"
#include "stitch/resample/flat_positions.h"
#include "stitch/resample/uv_map.h"
#include "stitch/resample/warp.h"

namespace plateloom::stitch {

namespace {

using calib::Vector2d;

// "shot.1001" in two: what the frames of a shot share, and the frame.
struct FrameName {
    std::string name, frame;

    explicit FrameName(const io::PlateFile& file) {
        const std::string stem = file.path.stem().string();
        name = stem;
        if (file.movie_frame > 0) {
            frame = io::framePath("####", file.movie_frame).string();
            return;
        }
        const auto numbered = io::numberedName(file.path);
        if (!numbered) return;
        frame = stem.substr(numbered->before.size());
        name = numbered->before.substr(0, numbered->before.find_last_not_of("._- ") + 1);
    }
};

bool sameLens(const Plate& a, const Plate& b) {
    const auto &la = a.lens, &lb = b.lens;
    const auto &sa = a.sensor, &sb = b.sensor;
    return la.distortion.direction == lb.distortion.direction &&
           la.distortion.radial == lb.distortion.radial &&
           la.distortion.tangential == lb.distortion.tangential &&
           la.distortion_offset_mm == lb.distortion_offset_mm &&
           la.projection_offset_mm == lb.projection_offset_mm && la.shading.a1 == lb.shading.a1 &&
           la.shading.a2 == lb.shading.a2 && la.shading.a3 == lb.shading.a3 &&
           sa.width_mm == sb.width_mm && sa.height_mm == sb.height_mm &&
           sa.width_px == sb.width_px && sa.height_px == sb.height_px;
}

// Light at a position that a UV map already holds.
io::Picture flattenShading(const io::Picture& uv, const MapGrid& grid, const calib::LensMap& lens) {
    return shadingMap(grid, [&](double x, double y) -> std::optional<double> {
        const float* at = uv.at(int(std::floor(x)) - grid.x, int(std::floor(y)) - grid.y);
        if (at[2] == 0) return std::nullopt;
        const double light = lens.transmission(
            {double(at[0]) * grid.display_width, (1 - double(at[1])) * grid.display_height});
        if (!(light > kLeastTransmission)) return std::nullopt;
        return 1 / light;
    });
}

// Frames of one shot, one after the other, through one and the same lens.
struct LensRun {
    FrameName first, last;
    const Plate* plate;
};

std::vector<LensRun> lensRuns(const std::vector<Plate>& frames) {
    std::vector<LensRun> runs;
    for (const Plate& frame : frames) {
        const FrameName name(frame.file);
        if (!runs.empty() && sameLens(*runs.back().plate, frame) &&
            runs.back().first.name == name.name)
            runs.back().last = name;
        else
            runs.push_back({name, name, &frame});
    }
    return runs;
}

std::filesystem::path mapPath(const std::filesystem::path& folder, const LensRun& run,
                              const std::string& what) {
    std::string frames = run.first.frame;
    if (run.last.frame != run.first.frame) frames += "-" + run.last.frame;
    std::string name = run.first.name;
    for (const std::string& part : {what, frames})
        if (!part.empty()) name += (name.empty() ? "" : ".") + part;
    return folder / (name + ".exr");
}

std::vector<std::filesystem::path> writeMaps(const std::filesystem::path& folder,
                                             const LensRun& run, Fit fit) {
    const Plate& plate = *run.plate;
    const calib::LensMap lens(plate.lens, plate.sensor);
    const int width = plate.sensor.width_px, height = plate.sensor.height_px;
    std::vector<std::filesystem::path> written;
    const auto write = [&](const char* what, const io::Picture& map, const MapGrid& grid) {
        written.push_back(mapPath(folder, run, what));
        writeMap(written.back(), map, grid);
    };
    const PixelBounds b = flatBounds(lens, fit, nullptr);
    const MapGrid flat{b.x0, b.y0, b.x1 - b.x0, b.y1 - b.y0, width, height};
    const io::Picture flatten = uvMap(
        flat,
        [&](double x, double y) {
            return recordedFromFlat(lens, {x, y});
        },
        width, height);
    write("flatten-uv", flatten, flat);
    write("flatten-shading", flattenShading(flatten, flat, lens), flat);

    const MapGrid recorded{0, 0, width, height, width, height};
    const auto flat_position = [&](double x, double y) { return flatFromRecorded(lens, {x, y}); };
    write("unflatten-uv", uvMap(recorded, flat_position, width, height), recorded);
    const auto light = [&](double x, double y) {
        return std::optional(std::max(0.0, lens.transmission({x, y})));
    };
    write("unflatten-shading", shadingMap(recorded, light), recorded);
    return written;
}

}  // namespace

std::vector<std::filesystem::path> writeLensMaps(const std::filesystem::path& folder,
                                                 const std::vector<Plate>& frames, Fit fit) {
    io::makeFolder(folder);
    std::vector<std::filesystem::path> written;
    for (const LensRun& run : lensRuns(frames))
        for (auto& path : writeMaps(folder, run, fit)) written.push_back(std::move(path));
    return written;
}

std::vector<std::filesystem::path> lensMapPaths(const std::filesystem::path& folder,
                                                const std::vector<Plate>& frames) {
    std::vector<std::filesystem::path> paths;
    for (const LensRun& run : lensRuns(frames))
        for (const char* what :
             {"flatten-uv", "flatten-shading", "unflatten-uv", "unflatten-shading"})
            paths.push_back(mapPath(folder, run, what));
    return paths;
}

}  // namespace plateloom::stitch
