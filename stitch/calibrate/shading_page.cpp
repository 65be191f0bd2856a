#include "stitch/calibrate/shading_page.h"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "calib/said.h"
#include "stitch/calibrate/page_numbers.h"

namespace plateloom::stitch {

namespace {

using nlohmann::json;

double stopsLost(double light) {
    return -std::log2(light);
}

json heightJson(const FalloffAt& at) {
    return {{"share", at.share},
            {"height_mm", rounded(at.radius_mm, 4)},
            {"stops", rounded(at.stops, 5)},
            {"natural_stops", orNull(at.natural_stops)},
            {"other_stops", orNull(at.mechanical_stops)},
            {"opened_stops", orNull(at.opened_stops)}};
}

json ringJson(const ShadingRing& ring) {
    return {{"height_mm", rounded(ring.radius_mm, 4)},
            {"stops", rounded(stopsLost(ring.light), 5)},
            {"brightest_stops", rounded(stopsLost(ring.high), 5)},
            {"darkest_stops", rounded(stopsLost(ring.low), 5)},
            {"cells", ring.cells}};
}

// Cells in thousandths of the light in the middle, the lamp taken out: `recorded` with the lens's
// falloff, `rest` without. Null where there was no light.
json pictureJson(const ShadingPicture& picture, const ShadingMeasurement& measured) {
    const auto& shading = measured.settings[size_t(picture.setting)].shading;
    json recorded = json::array(), rest = json::array(), used = json::array();
    for (int j = 0; j < picture.rows; ++j)
        for (int i = 0; i < picture.columns; ++i) {
            const auto at = size_t(j) * size_t(picture.columns) + size_t(i);
            const double x = ((i + 0.5) / picture.columns - 0.5) * measured.sensor.width_mm;
            const double y = ((j + 0.5) / picture.rows - 0.5) * measured.sensor.height_mm;
            const double light = std::exp(picture.residual[at]);
            recorded.push_back(rounded(1000 * light * shading.transmission(x * x + y * y), 0));
            rest.push_back(rounded(1000 * (light - 1), 1));
            used.push_back(int(picture.used[at]));
        }
    return {{"file", fileName(picture.file)},
            {"setting", picture.setting},
            {"level", picture.level},
            {"grain", picture.grain},
            {"lamp_tilt_stops", picture.lamp_tilt_stops},
            {"rms", picture.rms},
            {"used_cells", picture.used_cells},
            {"ignored_cells", picture.ignored_cells},
            {"clipped_cells", picture.clipped_cells},
            {"columns", picture.columns},
            {"rows", picture.rows},
            {"recorded", recorded},
            {"rest", rest},
            {"used", used}};
}

std::vector<std::string> verdictOf(const ShadingSetting& at) {
    const auto& corner = at.heights.back();
    std::vector<std::string> out{
        said("The frame's corners are %.2f stops darker than its middle; known to %.3f %% of the "
             "light there (one sigma).",
             corner.stops, 100 * at.corner_sigma)};
    if (corner.natural_stops && corner.mechanical_stops)
        out.push_back(said(
            "The cosine-fourth law makes %.2f stops of it; %s", *corner.natural_stops,
            *corner.mechanical_stops >= 0
                ? said("the other %.2f are the lens's own.", *corner.mechanical_stops).c_str()
                : said("the lens gives %.2f of them back.", -*corner.mechanical_stops).c_str()));
    if (corner.opened_stops)
        out.push_back(
            said("Against the smallest iris measured, opening up costs the corners %.2f "
                 "stops.",
                 *corner.opened_stops));
    out.push_back(said(
        "The fit leaves %.2f %% RMS in %d cells of %d picture%s; %d cell%s left out as dust or "
        "the like.",
        100 * at.rms, at.used_cells, at.pictures, at.pictures == 1 ? "" : "s", at.ignored_cells,
        at.ignored_cells == 1 ? "" : "s"));
    return out;
}

json settingJson(const ShadingSetting& at, const ShadingMeasurement& measured) {
    json out{{"name", headingOf(at.setting)},
             {"verdict", verdictOf(at)},
             {"focus_m", orNull(at.setting.focus_m)},
             {"stop", orNull(at.setting.t_stop)},
             {"stop_is_f_number", at.stop_is_f_number},
             {"nominal_focal_mm", orNull(at.setting.focal_mm)},
             {"a1", at.shading.a1},
             {"a2", at.shading.a2},
             {"a3", at.shading.a3},
             {"corner_sigma", at.corner_sigma},
             {"rms", at.rms},
             {"pictures", at.pictures},
             {"used_cells", at.used_cells},
             {"ignored_cells", at.ignored_cells},
             {"heights", json::array()},
             {"curve", json::array()},
             {"profile", json::array()}};
    for (const auto& height : at.heights) out["heights"].push_back(heightJson(height));
    for (const auto& height : at.curve) out["curve"].push_back(heightJson(height));
    for (const auto& ring : at.profile) out["profile"].push_back(ringJson(ring));
    out["frame"] = frameJson(measured.sensor);
    return out;
}

std::string verdictOf(const ShadingMeasurement& measured) {
    double least = INFINITY, most = -INFINITY;
    for (const auto& at : measured.settings) {
        least = std::min(least, at.heights.back().stops);
        most = std::max(most, at.heights.back().stops);
    }
    if (measured.settings.size() == 1)
        return said(
            "The frame's corners are %.2f stops darker than its middle; the fit leaves "
            "%.2f %% RMS.",
            most, 100 * measured.rms);
    return said(
        "The lens's falloff at %zu settings: the frame's corners are %.2f to %.2f stops "
        "darker than its middle; the fits leave %.2f %% RMS.",
        measured.settings.size(), least, most, 100 * measured.rms);
}

}  // namespace

json shadingPageJson(const ShadingMeasurement& measured) {
    json out{{"kind", "shading"},
             {"command", "calibrate shading"},
             {"verdict", verdictOf(measured)},
             {"terms", measured.terms},
             {"held_out", measured.held_out},
             {"bow_separated", measured.bow_separated},
             {"rms", measured.rms},
             {"settings", json::array()},
             {"pictures", json::array()},
             {"notes", measured.notes},
             {"warnings", measured.warnings}};
    for (const auto& at : measured.settings) out["settings"].push_back(settingJson(at, measured));
    for (const auto& picture : measured.pictures)
        out["pictures"].push_back(pictureJson(picture, measured));
    return out;
}

void writeShadingPage(const std::filesystem::path& folder, const ShadingMeasurement& measured) {
    io::writeLensPage(folder, shadingPageJson(measured), {});
}

}  // namespace plateloom::stitch
