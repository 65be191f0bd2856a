#include "stitch/cli/summary.h"

#include <cmath>
#include <cstdio>

#include "stitch/cli/terminal.h"

namespace plateloom::cli {

namespace {

struct Counts {
    int placed = 0, by_pose = 0, left_out = 0;
};

Counts countPlates(const stitch::Solve& solve) {
    Counts counts;
    for (const auto& plate : solve.plates) {
        if (!plate.placed)
            ++counts.left_out;
        else
            ++(plate.placed_by == "pose" ? counts.by_pose : counts.placed);
    }
    return counts;
}

}  // namespace

std::string stageLine(const stitch::StageTime& time) {
    char text[96];
    if (time.pixels > 0 && time.seconds > 0)
        std::snprintf(text, sizeof text, "  %-10s %8s  %7.1f Mpix/s", time.stage.c_str(),
                      seconds(time.seconds).c_str(), 1e-6 * time.pixels / time.seconds);
    else
        std::snprintf(text, sizeof text, "  %-10s %8s", time.stage.c_str(),
                      seconds(time.seconds).c_str());
    return text;
}

nlohmann::json stagesOf(const std::vector<stitch::StageTime>& times) {
    nlohmann::json stages = nlohmann::json::array();
    for (const auto& t : times)
        stages.push_back({{"stage", t.stage}, {"seconds", t.seconds}, {"pixels", t.pixels}});
    return stages;
}

nlohmann::json pathsOf(const std::vector<std::filesystem::path>& paths) {
    nlohmann::json out = nlohmann::json::array();
    for (const auto& path : paths) out.push_back(path.string());
    return out;
}

nlohmann::json summaryOf(const stitch::Solve& solve) {
    nlohmann::json plates = nlohmann::json::array();
    for (const auto& p : solve.plates) {
        nlohmann::json plate{{"file", p.file}, {"placed", p.placed}};
        if (p.placed) {
            plate["placed_by"] = p.placed_by;
            plate["pan_deg"] = p.pose.pan_deg;
            plate["tilt_deg"] = p.pose.tilt_deg;
            plate["roll_deg"] = p.pose.roll_deg;
            plate["focal_mm"] = p.lens.focal_mm;
            plate["gain"] = p.gain;
            if (p.gain_sigma_stops) plate["gain_sigma_stops"] = *p.gain_sigma_stops;
            plate["ties"] = p.ties;
            plate["rms_px"] = p.rms_px;
            plate["sigma_px"] = p.sigma_px;
        } else {
            plate["why"] = p.why_not;
        }
        plates.push_back(plate);
    }
    const Counts counts = countPlates(solve);
    return {{"plates", plates},
            {"placed", counts.placed + counts.by_pose},
            {"placed_by_pose", counts.by_pose},
            {"left_out", counts.left_out},
            {"groups", solve.groups},
            {"ties", solve.ties.size()},
            {"rms_px", solve.rms_px},
            {"notes", solve.notes},
            {"warnings", solve.warnings},
            {"stages", stagesOf(solve.times)},
            {"peak_memory_bytes", peakMemory()},
            {"status", int(statusOf(solve))}};
}

void tell(const stitch::Solve& solve) {
    for (const auto& note : solve.notes) say(note);
    for (const auto& warning : solve.warnings) warn(warning);
    const Counts counts = countPlates(solve);
    char text[200];
    std::snprintf(text, sizeof text, "%d of %zu plates placed by tie points", counts.placed,
                  solve.plates.size());
    std::string line =
        solve.plates.size() == 1 && counts.placed == 1 ? "one plate, nothing to tie" : text;
    if (counts.by_pose) line += ", " + std::to_string(counts.by_pose) + " by pose alone";
    if (counts.left_out) line += ", " + std::to_string(counts.left_out) + " left out";
    if (!solve.ties.empty()) {
        std::snprintf(text, sizeof text, "; %zu ties agree to %.3f px RMS", solve.ties.size(),
                      solve.rms_px);
        line += text;
    }
    say(line);
    for (const auto& plate : solve.plates)
        if (!plate.placed) say("  left out: " + plate.file + " (" + plate.why_not + ")");
    for (const auto& time : solve.times) say(stageLine(time));
}

ExitStatus statusOf(const stitch::Solve& solve) {
    const Counts counts = countPlates(solve);
    const bool look = counts.left_out > 0 || solve.groups.size() > 1 || solve.needs_a_look;
    return look ? look_at_it : done;
}

}  // namespace plateloom::cli
