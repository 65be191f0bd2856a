#include "stitch/cli/take_summary.h"

#include <algorithm>
#include <cmath>

#include "calib/said.h"
#include "stitch/cli/summary.h"
#include "stitch/cli/terminal.h"
#include "stitch/mount/overlap_distance.h"

namespace plateloom::cli {

namespace {

size_t placedOf(const stitch::TakeSolve& solve) {
    const auto& cameras = solve.solved.mount.cameras;
    return size_t(std::count_if(cameras.begin(), cameras.end(),
                                [](const auto& camera) { return camera.placed; }));
}

std::string framesOf(const stitch::Take& take) {
    std::string text = "frames " + std::to_string(take.first) + " to " + std::to_string(take.last);
    const auto from = take.timecodeAt(take.first), to = take.timecodeAt(take.last);
    if (from && to) text += " (" + io::toString(*from) + " to " + io::toString(*to) + ")";
    return text;
}

nlohmann::json cameraJson(const stitch::Take& take, const stitch::TakeSolve& solve, size_t c) {
    const auto& camera = solve.solved.mount.cameras[c];
    nlohmann::json out{{"clip", take.clips[c].clip.name}, {"placed", camera.placed}};
    if (!camera.placed) {
        out["why"] = camera.why_not;
        return out;
    }
    for (const auto& standing : camera.standing) {
        const auto pose = calib::panTiltRoll(standing.mountFromCamera);
        out["stands"].push_back({{"from_frame", standing.from_frame},
                                 {"pan_deg", pose.pan_deg},
                                 {"tilt_deg", pose.tilt_deg},
                                 {"roll_deg", pose.roll_deg}});
    }
    out["ties"] = camera.ties;
    out["rms_px"] = camera.rms_px;
    return out;
}

}  // namespace

void tell(const stitch::Take& take, const stitch::TakeSolve& solve) {
    for (const auto& note : solve.notes) say(note);
    for (const auto& warning : solve.warnings) warn(warning);
    const auto& mount = solve.solved.mount;
    std::string line = std::to_string(placedOf(solve)) + " of " +
                       counted(take.clips.size(), "camera") + " placed on the mount, " +
                       framesOf(take);
    if (mount.ties > 0)
        line += said("; %d ties from %zu moments agree to %.3f px RMS", mount.ties,
                     mount.moments.size(), mount.rms_px);
    say(line);
    for (size_t c = 0; c < mount.cameras.size(); ++c)
        if (!mount.cameras[c].placed)
            say("  left out: " + take.clips[c].clip.name + " (" + mount.cameras[c].why_not + ")");
    if (solve.steady != stitch::Steady::none && solve.shake_px > 0)
        say(said(solve.own_shake_px.empty()
                     ? "the mount shook by %.1f px RMS: taken out, written beside the solve"
                     : "the takes shook by %.1f px RMS, each by itself: taken out, written beside "
                       "the solve",
                 solve.shake_px));
    for (const auto& time : solve.times) say(stageLine(time));
}

nlohmann::json summaryOf(const stitch::Take& take, const stitch::TakeSolve& solve) {
    nlohmann::json cameras = nlohmann::json::array(), overlaps = nlohmann::json::array();
    for (size_t c = 0; c < take.clips.size(); ++c) cameras.push_back(cameraJson(take, solve, c));
    for (const auto& overlap : solve.solved.mount.overlaps) {
        nlohmann::json left = nlohmann::json::array();
        for (const auto& one : overlap.left)
            left.push_back({{"inverse_m", one.inverse_m}, {"parallax_px", one.parallax_px}});
        overlaps.push_back(
            {{"clips",
              {take.clips[size_t(overlap.a)].clip.name, take.clips[size_t(overlap.b)].clip.name}},
             {"ties", overlap.ties},
             {"apart_m", overlap.apart_m},
             {"inverse_m", overlap.inverse_m},
             {"left", left}});
    }
    nlohmann::json knocks = nlohmann::json::array(), seams = nlohmann::json::array();
    for (const auto& knock : solve.knocks)
        knocks.push_back({{"clip", take.clips[size_t(knock.clip)].clip.name},
                          {"frame", knock.frame},
                          {"degrees", calib::angleBetween_deg(calib::Matrix3d::Identity(),
                                                              knock.beforeFromAfter)}});
    for (const auto& part : solve.seams.parts)
        seams.push_back({{"from_frame", part.frame}, {"why", part.why}});
    return {{"cameras", cameras},
            {"first_frame", take.first},
            {"last_frame", take.last},
            {"placed", placedOf(solve)},
            {"ties", solve.solved.mount.ties},
            {"rms_px", solve.solved.mount.rms_px},
            {"shake_px", solve.shake_px},
            {"own_shake_px", solve.own_shake_px},
            {"overlaps", overlaps},
            {"knocks", knocks},
            {"seams", seams},
            {"notes", solve.notes},
            {"warnings", solve.warnings},
            {"stages", stagesOf(solve.times)},
            {"peak_memory_bytes", peakMemory()},
            {"status", int(statusOf(take, solve))}};
}

ExitStatus statusOf(const stitch::Take& take, const stitch::TakeSolve& solve) {
    if (placedOf(solve) < take.clips.size() || !solve.solved.black.empty()) return look_at_it;
    for (const auto& knock : solve.knocks)
        if (solve.solved.mount.cameras[size_t(knock.clip)].standing.size() == 1) return look_at_it;
    for (size_t c = 0; c < take.clips.size(); ++c)
        for (int64_t frame = take.first; frame <= take.last; ++frame)
            if (!take.has(int(c), frame)) return look_at_it;
    return done;
}

}  // namespace plateloom::cli
