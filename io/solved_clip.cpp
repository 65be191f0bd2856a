#include "io/solved_clip.h"

#include <cmath>
#include <nlohmann/json.hpp>

namespace plateloom::io {

namespace {

using Json = nlohmann::ordered_json;

constexpr int64_t kMostClipFrame = int64_t(1) << 40;

Json arrayOf(const calib::Vector3d& v) {
    return {v.x(), v.y(), v.z()};
}

calib::Vector3d vectorOf(const JsonFields& fields, const char* key) {
    const auto values = fields.numbers(key, 3);
    if (values.size() != 3) fields.fault(key, "needs three numbers");
    return {values[0], values[1], values[2]};
}

int64_t frameOf(const JsonFields& fields, const char* key) {
    const auto frame = fields.whole(key, -kMostClipFrame, kMostClipFrame);
    if (!frame) fields.fault(key, "is missing");
    return *frame;
}

// A list of runs of frames, first and last of each one after the other.
Json runsJson(const std::vector<std::pair<int64_t, int64_t>>& runs) {
    Json out = Json::array();
    for (const auto& [first, last] : runs) {
        out.push_back(first);
        out.push_back(last);
    }
    return out;
}

int64_t frameOf(const JsonFields& fields, const char* key, double number) {
    if (!(std::abs(number) <= double(kMostClipFrame)) || number != std::floor(number))
        fields.fault(key, "holds what is not a frame number");
    return int64_t(number);
}

std::vector<std::pair<int64_t, int64_t>> readRuns(const JsonFields& fields, const char* key) {
    const auto ends = fields.numbers(key, 1 << 20);
    if (ends.size() % 2 != 0) fields.fault(key, "needs a first and a last frame for each run");
    std::vector<std::pair<int64_t, int64_t>> runs;
    for (size_t i = 0; i < ends.size(); i += 2)
        runs.emplace_back(frameOf(fields, key, ends[i]), frameOf(fields, key, ends[i + 1]));
    return runs;
}

Json overlapJson(const SolvedClip::Overlap& overlap) {
    Json out{{"with", overlap.with},
             {"inverse_m", overlap.inverse_m},
             {"direction", arrayOf(overlap.direction)},
             {"ties", overlap.ties},
             {"apart_m", overlap.apart_m}};
    if (overlap.nearest_inverse_m) out["nearest_inverse_m"] = *overlap.nearest_inverse_m;
    if (overlap.farthest_inverse_m) out["farthest_inverse_m"] = *overlap.farthest_inverse_m;
    for (const auto& one : overlap.left)
        out["left"].push_back({{"inverse_m", one.inverse_m}, {"parallax_px", one.parallax_px}});
    return out;
}

SolvedClip::Overlap readOverlap(const JsonFields& fields) {
    SolvedClip::Overlap overlap;
    overlap.with = fields.text("with");
    overlap.inverse_m = fields.number("inverse_m").value_or(0);
    overlap.direction = vectorOf(fields, "direction").normalized();
    overlap.ties = int(fields.whole("ties", 0, 1 << 30).value_or(0));
    overlap.apart_m = fields.number("apart_m").value_or(0);
    overlap.nearest_inverse_m = fields.number("nearest_inverse_m");
    overlap.farthest_inverse_m = fields.number("farthest_inverse_m");
    for (const auto& one : fields.objects("left"))
        overlap.left.push_back(
            {one.number("inverse_m").value_or(0), one.number("parallax_px").value_or(0)});
    return overlap;
}

calib::PanTiltRoll poseOf(const JsonFields& fields) {
    return {fields.number("pan").value_or(0), fields.number("tilt").value_or(0),
            fields.number("roll").value_or(0)};
}

SolvedClip::Gain readClipGain(const JsonFields& fields) {
    SolvedClip::Gain gain;
    gain.frame = frameOf(fields, "frame");
    const auto values = fields.numbers("gain", 3);
    if (values.size() != 3) fields.fault("gain", "needs three numbers, for red, green and blue");
    for (size_t c = 0; c < 3; ++c) {
        if (!(values[c] > 0)) fields.fault("gain", "is not above 0");
        gain.gain[c] = values[c];
    }
    return gain;
}

}  // namespace

Json clipJson(const SolvedClip& clip) {
    Json out{{"first", clip.first}, {"last", clip.last}, {"ahead", clip.ahead}};
    for (const auto& one : clip.knocked)
        out["knocked"].push_back({{"from_frame", one.from_frame},
                                  {"pan", one.pose.pan_deg},
                                  {"tilt", one.pose.tilt_deg},
                                  {"roll", one.pose.roll_deg}});
    for (const auto& one : clip.knocks)
        out["knocks"].push_back({{"frame", one.frame},
                                 {"pan", one.turn.pan_deg},
                                 {"tilt", one.turn.tilt_deg},
                                 {"roll", one.turn.roll_deg}});
    if (clip.pupil_m) out["pupil_m"] = arrayOf(*clip.pupil_m);
    for (const auto& one : clip.gains)
        out["gains"].push_back({{"frame", one.frame}, {"gain", one.gain}});
    if (clip.known_stops) out["known_stops"] = *clip.known_stops;
    out["focal_scale"] = clip.focal_scale;
    out["distortion_found"] = clip.distortion_found;
    out["shading_found"] = clip.shading_found;
    for (const auto& one : clip.overlaps) out["overlaps"].push_back(overlapJson(one));
    if (!clip.steady.empty()) out["steady"] = clip.steady;
    if (!clip.seams.empty()) out["seams"] = clip.seams;
    if (!clip.set.empty()) out["set"] = clip.set;
    for (const auto& one : clip.seam_moves)
        out["seam_moves"].push_back({{"frame", one.frame}, {"why", one.why}});
    if (!clip.shake_unknown.empty()) out["shake_unknown"] = runsJson(clip.shake_unknown);
    if (!clip.black.empty()) out["black"] = runsJson(clip.black);
    if (clip.typical_light > 0) out["typical_light"] = clip.typical_light;
    return out;
}

SolvedClip readSolvedClip(const JsonFields& fields) {
    SolvedClip clip;
    clip.first = frameOf(fields, "first");
    clip.last = frameOf(fields, "last");
    if (clip.last < clip.first) fields.fault("last", "is before the first frame");
    clip.ahead = fields.whole("ahead", -kMostClipFrame, kMostClipFrame).value_or(0);
    for (const auto& one : fields.objects("knocked"))
        clip.knocked.push_back({frameOf(one, "from_frame"), poseOf(one)});
    for (const auto& one : fields.objects("knocks"))
        clip.knocks.push_back({frameOf(one, "frame"), poseOf(one)});
    if (fields.has("pupil_m")) clip.pupil_m = vectorOf(fields, "pupil_m");
    for (const auto& one : fields.objects("gains")) {
        clip.gains.push_back(readClipGain(one));
        if (clip.gains.size() > 1 && clip.gains.back().frame <= (&clip.gains.back() - 1)->frame)
            one.fault("frame", "is not after the one before it");
    }
    if (clip.gains.empty()) fields.fault("gains", "is missing");
    clip.known_stops = fields.number("known_stops");
    clip.focal_scale = fields.number("focal_scale").value_or(1);
    if (!(clip.focal_scale > 0)) fields.fault("focal_scale", "is not above 0");
    clip.distortion_found = fields.flag("distortion_found").value_or(false);
    clip.shading_found = fields.flag("shading_found").value_or(false);
    for (const auto& one : fields.objects("overlaps")) clip.overlaps.push_back(readOverlap(one));
    clip.steady = fields.text("steady");
    if (!clip.steady.empty() && clip.steady != "lock" && clip.steady != "follow")
        fields.fault("steady", "is neither lock nor follow");
    for (const double frame : fields.numbers("seams", 1 << 20))
        clip.seams.push_back(frameOf(fields, "seams", frame));
    clip.set = fields.text("set");
    for (const auto& one : fields.objects("seam_moves"))
        clip.seam_moves.push_back({frameOf(one, "frame"), one.text("why")});
    clip.shake_unknown = readRuns(fields, "shake_unknown");
    clip.black = readRuns(fields, "black");
    clip.typical_light = fields.number("typical_light").value_or(0);
    return clip;
}

}  // namespace plateloom::io
