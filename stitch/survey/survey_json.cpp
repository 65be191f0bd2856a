#include <nlohmann/json.hpp>

#include "stitch/survey/survey.h"
#include "stitch/survey/survey_json_parts.h"

namespace plateloom::stitch {

namespace {

using nlohmann::json;

json plateJson(const SurveyedPlate& plate) {
    json out{{"file", plate.file},
             {"number", plate.number},
             {"placed", plate.placed},
             {"placed_by", plate.placed_by},
             {"why", plate.why},
             {"focal_mm", plate.focal_mm > 0 ? json(plate.focal_mm) : json(nullptr)},
             {"focus_m", orNull(plate.focus_m)},
             {"t_stop", orNull(plate.t_stop)},
             {"f_stop", orNull(plate.f_stop)},
             {"iso", orNull(plate.iso)},
             {"gain_stops", orNull(plate.gain_stops)},
             {"exposure_stops", orNull(plate.exposure_stops)},
             {"clipped", orNull(plate.clipped)},
             {"crushed", orNull(plate.crushed)},
             {"sharpness", orNull(plate.sharpness)},
             {"ties", plate.ties},
             {"rms_px", plate.rms_px},
             {"sigma_px", plate.sigma_px},
             {"timecode", textOrNull(plate.timecode)},
             {"has_sample", plate.has_sample},
             {"width_px", plate.width_px},
             {"height_px", plate.height_px},
             {"outline", plate.outline}};
    addPose(plate.pose, plate.placed, &out);
    return out;
}

json pairJson(const SurveyedPair& pair) {
    return {
        {"a", pair.a},       {"b", pair.b},           {"overlap", pair.overlap},
        {"ties", pair.ties}, {"rms_px", pair.rms_px}, {"parallax_px", orNull(pair.parallax_px)}};
}

json holeJson(const Hole& hole) {
    return {{"pan_deg", hole.pan_deg},     {"tilt_deg", hole.tilt_deg},
            {"width_deg", hole.width_deg}, {"height_deg", hole.height_deg},
            {"area_deg2", hole.area_deg2}, {"outline", hole.outline}};
}

json coverJson(const SurveyedCover& cover) {
    json rows = json::array();
    for (int y = 0; y < cover.map.height; ++y) {
        std::string row;
        for (int x = 0; x < cover.map.width; ++x)
            row += char('0' + std::min<int>(9, cover.map.count[size_t(y) * cover.map.width + x]));
        rows.push_back(row);
    }
    return {{"wanted", cover.wanted},
            {"covered_share", cover.covered_share},
            {"band_low_deg", cover.band_low_deg},
            {"band_high_deg", cover.band_high_deg},
            {"map", {{"width", cover.map.width}, {"height", cover.map.height}, {"rows", rows}}}};
}

}  // namespace

json findingJson(const Finding& finding) {
    return {{"kind", nameOf(finding.kind)},
            {"grave", finding.grave},
            {"plates", finding.plates},
            {"pan_deg", orNull(finding.pan_deg)},
            {"tilt_deg", orNull(finding.tilt_deg)},
            {"text", finding.text},
            {"advice", finding.advice}};
}

void addPose(const calib::PanTiltRoll& pose, bool placed, json* out) {
    const auto angle = [&](double value_deg) { return placed ? json(value_deg) : json(); };
    (*out)["pan_deg"] = angle(pose.pan_deg);
    (*out)["tilt_deg"] = angle(pose.tilt_deg);
    (*out)["roll_deg"] = angle(pose.roll_deg);
}

const char* nameOf(FindingKind kind) {
    switch (kind) {
        case FindingKind::hole:
            return "hole";
        case FindingKind::overlap:
            return "overlap";
        case FindingKind::not_tied:
            return "not_tied";
        case FindingKind::knocked:
            return "knocked";
        case FindingKind::texture:
            return "texture";
        case FindingKind::blur:
            return "blur";
        case FindingKind::exposure:
            return "exposure";
        case FindingKind::clipped:
            return "clipped";
        case FindingKind::crushed:
            return "crushed";
        case FindingKind::focus:
            return "focus";
        case FindingKind::iris:
            return "iris";
        case FindingKind::focal:
            return "focal";
        case FindingKind::roll:
            return "roll";
        case FindingKind::parallax:
            return "parallax";
        case FindingKind::shake:
            return "shake";
        case FindingKind::timecode:
            return "timecode";
        case FindingKind::sample:
            return "sample";
        case FindingKind::missing_plate:
            return "missing_plate";
        case FindingKind::duplicate:
            return "duplicate";
        case FindingKind::damaged:
            return "damaged";
    }
    return "";
}

json surveyJson(const Survey& survey) {
    json out{{"command", survey.command},
             {"status", survey.status},
             {"verdict", survey.verdict},
             {"findings", listOf(survey.findings, findingJson)},
             {"plates", listOf(survey.plates, plateJson)},
             {"pairs", listOf(survey.pairs, pairJson)},
             {"holes", listOf(survey.holes, holeJson)},
             {"cover", coverJson(survey.cover)},
             {"notes", survey.notes},
             {"warnings", survey.warnings},
             {"peak_memory_bytes", survey.peak_memory_bytes}};
    out["residuals"] = listOf(survey.residuals, [](const SurveyedResidual& r) {
        return json{
            {"plate", r.plate}, {"x", r.x}, {"y", r.y}, {"dx_px", r.dx_px}, {"dy_px", r.dy_px}};
    });
    out["stages"] = listOf(survey.stages, [](const StageTime& t) {
        return json{{"stage", t.stage}, {"seconds", t.seconds}, {"pixels", t.pixels}};
    });
    out["quick_panorama"] = nullptr;
    if (survey.quick_panorama)
        out["quick_panorama"] = {{"width", survey.quick_panorama->first},
                                 {"height", survey.quick_panorama->second}};
    out["head_offset"] = nullptr;
    if (survey.head_offset)
        out["head_offset"] = {{"parallax_px", survey.head_offset->parallax_px},
                              {"nearest_m", orNull(survey.head_offset->nearest_m)},
                              {"offset_mm", orNull(survey.head_offset->offset_mm)}};
    return out;
}

}  // namespace plateloom::stitch
