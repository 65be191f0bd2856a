#include "stitch/calibrate/chart_summary.h"

#include <algorithm>
#include <cmath>

#include "calib/said.h"

namespace plateloom::stitch {

namespace {

using calib::Vector2d;

nlohmann::json pair(const Vector2d& v) {
    return {v.x(), v.y()};
}

Vector2d centreOf(const ChartMeasurement& lens) {
    return lens.lens.distortion_offset_mm + lens.lens.projection_offset_mm;
}

Vector2d inPixels(const Vector2d& mm, const calib::Sensor& sensor) {
    return {mm.x() / sensor.mmPerPixelX(), mm.y() / sensor.mmPerPixelY()};
}

size_t usedPictures(const ChartMeasurement& lens) {
    return size_t(std::count_if(lens.pictures.begin(), lens.pictures.end(),
                                [](const ChartPicture& p) { return p.used; }));
}

size_t pointsInUse(const ChartMeasurement& lens) {
    size_t count = 0;
    for (const auto& picture : lens.pictures)
        for (const auto& point : picture.points) count += picture.used && point.used;
    return count;
}

// How far the board's surface stands off its plane at the edge of its reach.
double bend_mm(const ChartMeasurement& lens) {
    double most = 0;
    for (const double b : lens.shape.bend) most = std::max(most, std::abs(b));
    return most * lens.board.reach_mm();
}

std::string distortionLine(const ChartMeasurement& lens) {
    if (lens.distortion.empty()) return {};
    const auto last = std::find_if(lens.distortion.rbegin(), lens.distortion.rend(),
                                   [](const DistortionAt& at) { return at.supported; });
    const auto& at = last == lens.distortion.rend() ? lens.distortion.back() : *last;
    return said("  distortion      %+.2f %% at %.2f mm image height (%s)", 100 * at.share(),
                at.recorded_mm, at.share() < 0 ? "barrel" : "pincushion");
}

nlohmann::json jsonOf(const ChartPicture& picture) {
    nlohmann::json out{{"file", picture.file}, {"used", picture.used}};
    if (!picture.used) out["why"] = picture.why_not;
    if (picture.points.empty()) return out;
    out["points"] = picture.points.size();
    out["edge_px"] = picture.edge_px;
    if (!picture.used) return out;
    out["rms_px"] = picture.rms_px;
    out["held_out_rms_px"] = picture.held_out_rms_px;
    out["tilt_deg"] = picture.tilt_deg;
    out["distance_m"] = picture.distance_m;
    out["straightness_px"] = {{"recorded", picture.recorded.worst_px},
                              {"flat", picture.flat.worst_px}};
    return out;
}

nlohmann::json settingOf(const calib::LensSetting& setting) {
    nlohmann::json out = nlohmann::json::object();
    if (setting.focus_m) out["focus_m"] = *setting.focus_m;
    if (setting.t_stop) out["t_stop"] = *setting.t_stop;
    if (setting.focal_mm) out["focal_mm"] = *setting.focal_mm;
    return out;
}

nlohmann::json jsonOf(const ChartMeasurement& lens) {
    nlohmann::json pictures = nlohmann::json::array(), tried = nlohmann::json::array();
    for (const auto& picture : lens.pictures) pictures.push_back(jsonOf(picture));
    for (const auto& one : lens.tried)
        if (std::isfinite(one.held_out.rms_px))
            tried.push_back({{"model", nameOf(one.model)},
                             {"free_numbers", one.model.freeNumbers()},
                             {"held_out_rms_px", one.held_out.rms_px}});
    const auto& d = lens.lens.distortion;
    const bool closed = d.direction == calib::DistortionDirection::recorded_to_flat;
    return {
        {"setting", settingOf(lens.setting)},
        {"board", nameOf(lens.board_kind)},
        {"focal_mm", lens.lens.focal_mm},
        {"focal_sigma_mm", lens.focal_sigma_mm},
        {"model", closed ? "Brown-Conrady D-U" : "Brown-Conrady U-D"},
        {"terms", nameOf(lens.model)},
        {"radial", d.radial},
        {"tangential", d.tangential},
        {"distortion_offset_mm", pair(lens.lens.distortion_offset_mm)},
        {"projection_offset_mm", pair(lens.lens.projection_offset_mm)},
        {"centre_mm", pair(centreOf(lens))},
        {"centre_sigma_mm", pair(lens.centre_sigma_mm)},
        {"axis_sigma_mm", pair(lens.axis_sigma_mm)},
        {"radial_sigma_mm", lens.radial_sigma_mm},
        {"rms_px", lens.rms_px},
        {"noise_px", lens.noise_px},
        {"held_out_rms_px", lens.held_out_rms_px},
        {"board_bend_mm", bend_mm(lens)},
        {"board_stretch", lens.shape.stretch},
        {"supported_radius_mm", lens.support.reach_mm},
        {"supported_share", lens.support.share},
        {"frame_corners_seen", lens.support.corners},
        {"straightness_px", {{"recorded", lens.recorded.worst_px}, {"flat", lens.flat.worst_px}}},
        {"models_tried", tried},
        {"pictures", pictures},
        {"notes", lens.notes},
        {"warnings", lens.warnings}};
}

}  // namespace

std::vector<std::string> linesOf(const ChartMeasurement& lens) {
    const Vector2d centre = inPixels(centreOf(lens), lens.sensor);
    const Vector2d sigma = inPixels(lens.centre_sigma_mm, lens.sensor);
    std::array<double, 3> radial_px = lens.radial_sigma_mm;
    for (double& one : radial_px) one /= lens.sensor.mmPerPixelX();
    std::vector<std::string> lines{
        said("%s: %zu of %zu pictures, %zu points", toString(lens.setting).c_str(),
             usedPictures(lens), lens.pictures.size(), pointsInUse(lens)),
        said("  focal length    %.3f mm, one sigma %.2g", lens.lens.focal_mm, lens.focal_sigma_mm),
        said("  centre          %+.1f, %+.1f px from the picture's middle, one sigma %.2g, %.2g",
             centre.x(), centre.y(), sigma.x(), sigma.y()),
        distortionLine(lens),
        said("  uncertainty     %.2g px half way to the corner, %.2g at three quarters, %.2g in it",
             radial_px[0], radial_px[1], radial_px[2]),
        "  terms           " + nameOf(lens.model),
        said("  residuals       %.3f px RMS; %.3f for pictures left out of the solve", lens.rms_px,
             lens.held_out_rms_px),
        said("  straightness    lines of the board bend by up to %.2f px as recorded, %.3f "
             "flattened",
             lens.recorded.worst_px, lens.flat.worst_px),
        said("  support         points reach %.0f %% of the half diagonal, %d of 4 frame corners, "
             "%.0f %% of the frame's edge",
             100 * lens.support.share, lens.support.corners, 100 * lens.support.ring_share)};
    if (lens.model.shape != calib::ShapeTerms::flat)
        lines.push_back(said("  board           bent by %.2f mm, stretched by %.2f %%",
                             bend_mm(lens), 100 * lens.shape.stretch));
    for (const auto& picture : lens.pictures)
        if (!picture.used)
            lines.push_back("  left out: " + picture.file + " (" + picture.why_not + ")");
    for (const auto& note : lens.notes) lines.push_back("  " + note);
    return lines;
}

nlohmann::json jsonOf(const ChartJob& job) {
    nlohmann::json lenses = nlohmann::json::array();
    for (const auto& lens : job.lenses) lenses.push_back(jsonOf(lens));
    return {{"lenses", lenses}, {"notes", job.notes}, {"warnings", job.warnings}};
}

}  // namespace plateloom::stitch
