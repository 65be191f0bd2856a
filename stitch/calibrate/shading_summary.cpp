#include "stitch/calibrate/shading_summary.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "calib/said.h"

namespace plateloom::stitch {

namespace {

std::string stopsOrDash(const std::optional<double>& stops) {
    return stops ? said("%+11.2f", *stops) : said("%11s", "-");
}

nlohmann::json jsonOf(const FalloffAt& height) {
    nlohmann::json out{
        {"height_share", height.share}, {"radius_mm", height.radius_mm}, {"stops", height.stops}};
    if (height.natural_stops) out["natural_stops"] = *height.natural_stops;
    if (height.mechanical_stops) out["mechanical_stops"] = *height.mechanical_stops;
    if (height.opened_stops) out["opened_stops"] = *height.opened_stops;
    return out;
}

nlohmann::json jsonOf(const ShadingSetting& at) {
    nlohmann::json out{{"a1", at.shading.a1},
                       {"a2", at.shading.a2},
                       {"a3", at.shading.a3},
                       {"corner_sigma", at.corner_sigma},
                       {"rms", at.rms},
                       {"pictures", at.pictures},
                       {"used_cells", at.used_cells},
                       {"ignored_cells", at.ignored_cells}};
    if (at.setting.focus_m) out["focus_m"] = *at.setting.focus_m;
    if (at.setting.t_stop) out[at.stop_is_f_number ? "f_stop" : "t_stop"] = *at.setting.t_stop;
    if (at.setting.focal_mm) out["focal_mm"] = *at.setting.focal_mm;
    for (const FalloffAt& height : at.heights) out["heights"].push_back(jsonOf(height));
    for (const ShadingRing& ring : at.profile)
        out["profile"].push_back({{"radius_mm", ring.radius_mm},
                                  {"light", ring.light},
                                  {"low", ring.low},
                                  {"high", ring.high},
                                  {"cells", ring.cells}});
    return out;
}

nlohmann::json jsonOf(const ShadingPicture& picture) {
    return {{"file", picture.file},
            {"setting", picture.setting},
            {"level", picture.level},
            {"grain", picture.grain},
            {"lamp_tilt_stops", picture.lamp_tilt_stops},
            {"lamp_bow", picture.lamp.bow},
            {"rms", picture.rms},
            {"used_cells", picture.used_cells},
            {"ignored_cells", picture.ignored_cells},
            {"clipped_cells", picture.clipped_cells}};
}

}  // namespace

std::vector<std::string> linesOf(const ShadingMeasurement& measured) {
    std::vector<std::string> lines;
    double tilt = 0, ignored = 0, all = 0;
    for (const ShadingPicture& picture : measured.pictures) {
        tilt = std::max(tilt, picture.lamp_tilt_stops);
        ignored += picture.ignored_cells;
        all += picture.used_cells + picture.ignored_cells;
    }
    lines.push_back(
        said("%zu picture%s of a flat field at %zu setting%s; %.1f %% of the cells left "
             "out (dust, dead pixels)",
             measured.pictures.size(), measured.pictures.size() == 1 ? "" : "s",
             measured.settings.size(), measured.settings.size() == 1 ? "" : "s",
             100 * ignored / std::max(1.0, all)));
    lines.push_back(said("the lamp: up to %.2f stops from side to side", tilt) +
                    (measured.bow_separated
                         ? said(", %+.1f %% from its middle to the frame's corner",
                                100 * measured.pictures.front().lamp.bow)
                         : std::string()) +
                    "; taken out");
    lines.push_back(
        said("%d falloff term%s; cells left out are predicted to %.3f %% (1, 2, 3 terms: "
             "%.3f, %.3f, %.3f)",
             measured.terms, measured.terms == 1 ? "" : "s",
             100 * measured.held_out[size_t(measured.terms) - 1], 100 * measured.held_out[0],
             100 * measured.held_out[1], 100 * measured.held_out[2]));
    lines.push_back(
        "stops down at half, three quarters and all of the way to the corner, and what "
        "makes the corner's:");
    size_t width = 7;
    for (const ShadingSetting& at : measured.settings)
        width = std::max(width, toString(at.setting).size());
    lines.push_back(said("  %-*s %7s %7s %7s %11s %11s %11s %9s", int(width), "setting", "1/2",
                         "3/4", "corner", "cosine^4", "other", "opened up", "noise"));
    for (const ShadingSetting& at : measured.settings) {
        const FalloffAt& corner = at.heights.back();
        lines.push_back(
            said("  %-*s %7.2f %7.2f %7.2f ", int(width), toString(at.setting).c_str(),
                 at.heights[0].stops, at.heights[1].stops, corner.stops) +
            stopsOrDash(corner.natural_stops) + " " + stopsOrDash(corner.mechanical_stops) + " " +
            stopsOrDash(corner.opened_stops) + said(" %7.3f %%", 100 * at.corner_sigma));
    }
    return lines;
}

nlohmann::json jsonOf(const ShadingMeasurement& measured) {
    nlohmann::json out{{"command", "calibrate shading"},
                       {"terms", measured.terms},
                       {"held_out", measured.held_out},
                       {"bow_separated", measured.bow_separated},
                       {"rms", measured.rms},
                       {"sensor_mm", {measured.sensor.width_mm, measured.sensor.height_mm}},
                       {"notes", measured.notes},
                       {"warnings", measured.warnings}};
    for (const ShadingSetting& at : measured.settings) out["settings"].push_back(jsonOf(at));
    for (const ShadingPicture& picture : measured.pictures)
        out["pictures"].push_back(jsonOf(picture));
    return out;
}

}  // namespace plateloom::stitch
