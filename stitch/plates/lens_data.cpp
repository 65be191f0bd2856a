#include "stitch/plates/lens_data.h"

#include <algorithm>
#include <cstdio>

#include "io/input_error.h"
#include "io/lens_table_file.h"

namespace plateloom::stitch {

bool TableInUse::inTStops() const {
    return std::any_of(table.measured.begin(), table.measured.end(),
                       [](const auto& at) { return at.lens.t_stop.has_value(); });
}

LensData readLensData(const std::vector<std::filesystem::path>& paths) {
    LensData out;
    for (const auto& path : paths) {
        if (!io::isLensTable(path)) {
            out.tracks.push_back(io::readLensTrack(path));
            continue;
        }
        if (out.table)
            throw io::InputError(path.string(), "is a second lens table beside " +
                                                    out.table->path.string() +
                                                    "; give the one of the plates' lens");
        calib::LensTable table = io::readLensTable(path);
        calib::LensLookup lookup(table);
        out.table = TableInUse{path, std::move(table), std::move(lookup)};
    }
    return out;
}

std::string saidOf(const TableInUse& in_use) {
    const auto& measured = in_use.table.measured;
    const auto count = [&](bool calib::MeasuredLens::*kind) {
        return std::count_if(measured.begin(), measured.end(),
                             [&](const auto& at) { return at.*kind; });
    };
    const auto geometry = count(&calib::MeasuredLens::geometry);
    const auto shading = count(&calib::MeasuredLens::shading);
    std::string out = "lens from " + in_use.path.filename().string() + ": geometry measured at " +
                      std::to_string(geometry) + (geometry == 1 ? " setting" : " settings") +
                      ", shading at " + std::to_string(shading);
    const double reach_mm = in_use.lookup.supportedRadius_mm();
    const double corner_mm = in_use.table.sensor.halfDiagonal_mm();
    constexpr double kWhole = 0.98;
    if (reach_mm > 0 && reach_mm < kWhole * corner_mm) {
        char text[120];
        std::snprintf(
            text, sizeof text,
            "; its charts reached %.1f of the %.1f mm to the frame's corner, beyond which "
            "geometry is carried on",
            reach_mm, corner_mm);
        out += text;
    }
    return out;
}

}  // namespace plateloom::stitch
