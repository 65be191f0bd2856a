// A take's survey as JSON. What is told of every frame is rounded to what can be seen, so that the
// page of a long take stays small.
#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "stitch/survey/survey_json_parts.h"
#include "stitch/survey/take_survey.h"

namespace plateloom::stitch {

namespace {

using nlohmann::json;

// By a power of ten, so that the nearest short decimal is written.
double shortened(double value, int digits) {
    const double power = std::pow(10, digits);
    return std::round(value * power) / power;
}

json runsJson(const std::vector<FrameRun>& runs) {
    json out = json::array();
    for (const auto& [first, last] : runs) out.push_back({first, last});
    return out;
}

json courseJson(const Course& course, int digits) {
    json out = json::array();
    for (const auto& [frame, value] : course)
        out.push_back({frame, value ? json(shortened(*value, digits)) : json(nullptr)});
    return out;
}

json takeFindingJson(const TakeFinding& finding) {
    json out = findingJson(finding);
    out["frames"] = runsJson(finding.frames);
    return out;
}

const char* nameOf(SurveyedCamera::Knocked::As as) {
    return as == SurveyedCamera::Knocked::As::parts       ? "parts"
           : as == SurveyedCamera::Knocked::As::taken_out ? "taken out"
                                                          : "off";
}

json cameraJson(const SurveyedCamera& camera) {
    json out{{"name", camera.name},
             {"file", camera.file},
             {"placed", camera.placed},
             {"placed_by", camera.placed_by},
             {"why", camera.why},
             {"ties", camera.ties},
             {"rms_px", camera.rms_px},
             {"sigma_px", camera.sigma_px},
             {"focal_mm", camera.focal_mm > 0 ? json(camera.focal_mm) : json(nullptr)},
             {"width_px", camera.width_px},
             {"height_px", camera.height_px},
             {"first", camera.first},
             {"last", camera.last},
             {"ahead", camera.ahead},
             {"first_timecode", textOrNull(camera.first_timecode)},
             {"last_timecode", textOrNull(camera.last_timecode)},
             {"lens_source", textOrNull(camera.lens_source)},
             {"missing", runsJson(camera.missing)},
             {"doubled", runsJson(camera.doubled)},
             {"black", runsJson(camera.black)},
             {"damaged", runsJson(camera.damaged)},
             {"iris_in_t_stops", camera.iris_in_t_stops},
             {"focus_m", courseJson(camera.focus_m, 3)},
             {"iris", courseJson(camera.iris, 3)},
             {"focal_course_mm", courseJson(camera.focal_course_mm, 3)},
             {"gain_stops", courseJson(camera.gain_stops, 4)},
             {"beyond_stops", courseJson(camera.beyond_stops, 4)}};
    out["knocks"] = listOf(camera.knocks, [](const auto& knock) {
        return json{{"frame", knock.frame},
                    {"turn_deg", knock.turn_deg},
                    {"turn_px", knock.turn_px},
                    {"as", nameOf(knock.as)}};
    });
    addPose(camera.pose, camera.placed, &out);
    return out;
}

json shakeJson(const SurveyedShake& shake) {
    json pan = json::array(), tilt = json::array(), roll = json::array();
    for (const auto& turn : shake.turn) {
        pan.push_back(shortened(turn.pan_deg, 5));
        tilt.push_back(shortened(turn.tilt_deg, 5));
        roll.push_back(shortened(turn.roll_deg, 5));
    }
    return {{"camera", shake.camera < 0 ? json(nullptr) : json(shake.camera)},
            {"steady", textOrNull(shake.steady)},
            {"pan_deg", pan},
            {"tilt_deg", tilt},
            {"roll_deg", roll},
            {"rms_px", shake.rms_px},
            {"largest_px", shake.largest_px},
            {"largest_frame", shake.largest_frame},
            {"unknown", runsJson(shake.unknown)}};
}

json overlapJson(const SurveyedOverlap& overlap) {
    json left = json::array();
    for (const auto& one : overlap.left) left.push_back({one.inverse_m, one.parallax_px});
    const auto distance = [](double inverse_m) {
        return inverse_m > 1e-4 ? json(1 / inverse_m) : json(nullptr);
    };
    return {{"a", overlap.a},
            {"b", overlap.b},
            {"ties", overlap.ties},
            {"apart_m", overlap.apart_m},
            {"pan_deg", overlap.pan_deg},
            {"tilt_deg", overlap.tilt_deg},
            {"agrees_inverse", overlap.agrees_inverse},
            {"agrees_m", distance(overlap.agrees_inverse)},
            {"nearest_inverse", overlap.nearest_inverse},
            {"nearest_m", distance(overlap.nearest_inverse)},
            {"farthest_inverse", overlap.farthest_inverse},
            {"farthest_m", distance(overlap.farthest_inverse)},
            {"composed_inverse", overlap.composed_inverse},
            {"composed_m", distance(overlap.composed_inverse)},
            {"composed_px", orNull(overlap.composed_px)},
            {"left", left}};
}

json framesJson(const SurveyedFrames& frames) {
    std::vector<std::string> stages;
    int64_t made = 0, kept = 0, missing = 0;
    for (size_t i = 0; i < frames.each.size(); ++i) {
        ++(!frames.there[i] ? missing : frames.each[i].kept ? kept : made);
        for (const auto& time : frames.each[i].times)
            if (std::find(stages.begin(), stages.end(), time.stage) == stages.end())
                stages.push_back(time.stage);
    }
    // One letter a frame: made, kept, gone.
    std::string states;
    json bytes = json::array();
    std::vector<json> seconds(stages.size(), json::array());
    for (size_t i = 0; i < frames.each.size(); ++i) {
        const FrameMade& frame = frames.each[i];
        states += !frames.there[i] ? 'g' : frame.kept ? 'k' : 'm';
        bytes.push_back(frames.there[i] ? json(frames.bytes[i]) : json(nullptr));
        for (size_t s = 0; s < stages.size(); ++s) {
            const auto time = std::find_if(frame.times.begin(), frame.times.end(),
                                           [&](const auto& one) { return one.stage == stages[s]; });
            seconds[s].push_back(time == frame.times.end() ? json(nullptr)
                                                           : json(shortened(time->seconds, 4)));
        }
    }
    json costs = json::array();
    for (size_t s = 0; s < stages.size(); ++s)
        costs.push_back({{"stage", stages[s]}, {"seconds", seconds[s]}});
    return {{"output", frames.output},
            {"preview", textOrNull(frames.preview)},
            {"made", made},
            {"kept", kept},
            {"missing", missing},
            {"states", states},
            {"bytes", bytes},
            {"costs", costs},
            {"others", frames.others},
            {"others_there", frames.others_there}};
}

}  // namespace

json surveyJson(const TakeSurvey& survey) {
    const double px_per_deg = survey.grid.width / 360.0;
    json out{
        {"command", survey.command},
        {"status", survey.status},
        {"verdict", survey.verdict},
        {"findings", listOf(survey.findings, takeFindingJson)},
        {"first", survey.first},
        {"last", survey.last},
        {"count", survey.count()},
        {"to_look_at", survey.toLookAt()},
        {"take_first", survey.take_first},
        {"take_last", survey.take_last},
        {"in_turn", survey.in_turn},
        {"width", survey.grid.width},
        {"height", survey.grid.height},
        {"projection",
         survey.grid.projection == Projection::equirectangular ? "equirectangular" : "cylindrical"},
        {"px_per_deg", px_per_deg},
        {"covered_share", survey.covered_share},
        {"cover", courseJson(survey.cover, 5)},
        {"cameras", listOf(survey.cameras, cameraJson)},
        {"mount_ties", survey.mount_ties},
        {"mount_rms_px", survey.mount_ties > 0 ? json(survey.mount_rms_px) : json(nullptr)},
        {"moments", survey.moments},
        {"overlaps", listOf(survey.overlaps, overlapJson)},
        {"notes", survey.notes},
        {"warnings", survey.warnings},
        {"peak_memory_bytes", survey.peak_memory_bytes}};
    out["rate"] = survey.rate ? json{{"num", survey.rate->num},
                                     {"denom", survey.rate->denom},
                                     {"per_second", survey.rate->perSecond()}}
                              : json(nullptr);
    json timecodes = json::array();
    if (survey.start && survey.rate)
        for (int64_t i = 0; i < survey.count(); ++i)
            timecodes.push_back(
                io::toString(io::timecodeOf(io::frameNumber(*survey.start, *survey.rate) + i,
                                            *survey.rate, survey.start->drop_frame)));
    out["timecodes"] = timecodes;
    out["shakes"] = listOf(survey.shakes, shakeJson);
    out["seams"] = listOf(survey.seams, [](const SurveyedSeams& seams) {
        return json{{"frame", seams.frame},
                    {"from_frame", seams.from_frame},
                    {"why", seams.why},
                    {"places", listOf(seams.places, [](const auto& place) {
                         return json{{"a", place.a},
                                     {"b", place.b},
                                     {"pan_deg", place.pan_deg},
                                     {"tilt_deg", place.tilt_deg},
                                     {"width_deg", place.width_deg},
                                     {"height_deg", place.height_deg}};
                     })}};
    });
    out["frames"] = survey.frames ? framesJson(*survey.frames) : json(nullptr);
    out["pictures"] = listOf(survey.pictures, [](const auto& picture) {
        return json{{"frame", picture.frame}, {"what", picture.what}, {"why", picture.why}};
    });
    out["stages"] = listOf(survey.stages, [](const StageTime& time) {
        return json{{"stage", time.stage}, {"seconds", time.seconds}, {"pixels", time.pixels}};
    });
    return out;
}

}  // namespace plateloom::stitch
