// What a take's page says in figures, section by section.
#pragma once

#include "tests/pages/page_figures.h"

namespace plateloom::test {

/// A number that the test worked out itself, as PageFigures takes it.
inline std::string stated(double value, int digits) {
    std::ostringstream text;
    text.precision(17);
    text << "{=" << value << " " << digits << "}";
    return text.str();
}

inline std::string metresStated(const json& value) {
    if (value.is_null()) return "infinity";
    return stated(value, value < 10 ? 1 : 0) + " m";
}

/// Least to most of a course of (frame, value), or the one value at which it stays. Frames
/// without a value count for nothing.
inline std::string courseStated(const json& course) {
    double least = HUGE_VAL, most = -HUGE_VAL;
    for (const json& at : course) {
        if (at[1].is_null()) continue;
        least = std::min(least, at[1].get<double>());
        most = std::max(most, at[1].get<double>());
    }
    if (std::round(100 * least) == std::round(100 * most)) return "steady at " + stated(least, 2);
    return stated(least, 2) + " to " + stated(most, 2);
}

inline std::string nameOf(const json& take, const json& camera) {
    return take.at("cameras")[camera.get<size_t>()].at("name");
}

inline void stateTakeVerdict(PageFigures& page, const json& take) {
    std::vector<std::string> facts{"{count 0} frames solved"};
    if (!take.at("frames").is_null())
        facts = {"{frames.made 0} frames made", "{frames.kept 0} kept",
                 "{frames.missing 0} missing"};
    facts.push_back(take.at("to_look_at") == 1 ? "{to_look_at 0} frame to look at"
                                               : "{to_look_at 0} frames to look at");
    const json& cameras = take.at("cameras");
    const auto placed = std::count_if(cameras.begin(), cameras.end(), [](const json& camera) {
        return camera.at("placed") == true;
    });
    facts.push_back(std::to_string(placed) + " of " + std::to_string(cameras.size()) +
                    " cameras in place");
    facts.emplace_back("{covered_share 1 100} % of the sphere covered");
    page.state(".facts li", facts);
}

inline void stateMount(PageFigures& page, const json& take) {
    if (take.at("mount_ties") > 0)
        page.state("#mount .lead",
                   {"... {mount_ties 0} ties... agree to {mount_rms_px 3} px RMS of "
                    "the plates."});
    page.state("#mount div:nth-of-type(1) thead tr",
               {"| pan ° | tilt ° | roll ° | ties | RMS px | sure to px | focal mm..."});
    std::vector<std::string> rows = forEach(
        take.at("cameras").size(),
        "{cameras.*.name} | {cameras.*.pan_deg 3} | {cameras.*.tilt_deg 3} | {cameras.*.roll_deg "
        "3} | {cameras.*.ties 0} | {cameras.*.rms_px 3} | {cameras.*.sigma_px 3} | "
        "{cameras.*.focal_mm 3}...");
    for (size_t c = 0; c < rows.size(); ++c)
        if (take.at("cameras")[c].at("placed") == false)
            rows[c] = "{cameras." + std::to_string(c) + ".name} | ! no place: ...";
    page.state("#mount [data-camera]", rows);
}

inline void stateKnocks(PageFigures& page, const json& take) {
    std::vector<std::string> clips;
    for (size_t c = 0; c < take.at("cameras").size(); ++c) {
        const std::string camera = "cameras." + std::to_string(c);
        std::string text = "{" + camera + ".name} ...";
        for (size_t k = 0; k < take.at("cameras")[c].at("knocks").size(); ++k) {
            const std::string at = camera + ".knocks." + std::to_string(k);
            text += "knocked at {" + at + ".frame}: {" + at + ".turn_px 1} px ({" + at +
                    ".turn_deg 3} °)...";
        }
        clips.push_back(text);
    }
    page.state("#time .clip-time[data-camera] > p", clips);
}

inline void stateShake(PageFigures& page, const json& take) {
    const json& shakes = take.at("shakes");
    if (shakes.empty()) return;
    page.state("#shake .lead", {"...Pixels are the panorama’s, {width 0} round."});
    page.state("#shake figcaption",
               forEach(shakes.size(),
                       "...{shakes.*.rms_px 2} px RMS, at most {shakes.*.largest_px 2} px at frame "
                       "{shakes.*.largest_frame}..."));
}

inline void stateLight(PageFigures& page, const json& take) {
    const json& cameras = take.at("cameras");
    const bool by_data = std::any_of(cameras.begin(), cameras.end(), [](const json& camera) {
        return camera.at("gain_stops") != camera.at("beyond_stops");
    });
    std::vector<std::string> texts;
    for (const json& camera : cameras) {
        if (camera.at("gain_stops").empty()) continue;
        texts.push_back(
            camera.at("name").get<std::string>() + " " + courseStated(camera.at("gain_stops")) +
            " stops" +
            (by_data ? "; beyond its data " + courseStated(camera.at("beyond_stops")) : ""));
    }
    page.state("#light figcaption", texts);
}

inline void stateSeams(PageFigures& page, const json& take) {
    std::vector<std::string> moves;
    for (size_t m = 0; m < take.at("seams").size(); ++m) {
        std::string text;
        const json& places = take.at("seams")[m].at("places");
        for (size_t p = 0; p < places.size(); ++p) {
            const std::string at = "{seams." + std::to_string(m) + ".places." + std::to_string(p);
            text += (p ? "; " : "...: ") + nameOf(take, places[p].at("a")) + " | " +
                    nameOf(take, places[p].at("b")) + " at pan " + at + ".pan_deg 0}°, tilt " + at +
                    ".tilt_deg 0}°, " + at + ".width_deg 0}° × " + at + ".height_deg 0}°";
        }
        moves.push_back(text);
    }
    page.state("#seams .seam-moves > li", moves);
}

inline void stateDistance(PageFigures& page, const json& take) {
    const json& overlaps = take.at("overlaps");
    if (overlaps.empty()) return;
    page.state("#distance .lead", {"...in pixels of the panorama ({width 0} round)..."});
    std::vector<std::string> texts;
    for (size_t i = 0; i < overlaps.size(); ++i) {
        const json& one = overlaps[i];
        const std::string at = "{overlaps." + std::to_string(i);
        std::string text = nameOf(take, one.at("a")) + " | " + nameOf(take, one.at("b")) +
                           " agrees at " + metresStated(one.at("agrees_m"));
        if (!one.at("left").empty())
            text += " (most of it " + metresStated(one.at("nearest_m")) + " to " +
                    metresStated(one.at("farthest_m")) + ")";
        text += ", composed for " + metresStated(one.at("composed_m"));
        if (!one.at("composed_px").is_null()) text += ": " + at + ".composed_px 2} px left";
        if (one.at("ties") > 0) text += at + ".ties 0} ties, pupils " + at + ".apart_m 3} m apart";
        texts.push_back(text);
    }
    page.state("#distance figcaption", texts);
}

/// Numbers of a list that are known, in order.
inline std::vector<double> knownOf(const json& list) {
    std::vector<double> known;
    for (const json& value : list)
        if (!value.is_null()) known.push_back(value);
    std::sort(known.begin(), known.end());
    return known;
}

inline void stateFrames(PageFigures& page, const json& take) {
    const json& frames = take.at("frames");
    if (frames.is_null()) return;
    std::string lines =
        "Size: {width 0} × {height 0}, {projection} | Of the sphere covered, at least: "
        "{covered_share 2 100} % | Made now: {frames.made 0} | Kept by --resume: {frames.kept 0} | "
        "Gone: {frames.missing 0} | ";
    const auto bytes = knownOf(frames.at("bytes"));
    if (!bytes.empty()) {
        const std::string most = stated(1e-6 * bytes.back(), 1) + " MB";
        lines += "A file: ";
        lines += bytes.front() > 0.98 * bytes.back()
                     ? "about " + most
                     : stated(1e-6 * bytes.front(), 1) + " MB to " + most;
        lines += " | ";
    }
    if (frames.at("others") > 0)
        lines +=
            "The take’s other frames: {frames.others_there 0} of {frames.others 0} are there | ";
    page.state("#frames .lines", {lines + "Written to: {frames.output}"});
    if (frames.at("costs").empty()) return;
    page.state("#costs thead tr", {"stage | least s | median s | most s | at frame"});
    std::vector<std::string> rows;
    for (const json& cost : frames.at("costs")) {
        const auto seconds = knownOf(cost.at("seconds"));
        rows.push_back(cost.at("stage").get<std::string>() + " | " + stated(seconds.front(), 2) +
                       " | " + stated(seconds[seconds.size() / 2], 2) + " | " +
                       stated(seconds.back(), 2) + " | ...");
    }
    page.state("#costs tbody tr", rows);
}

/// Compares all figures of a take's page; how many there were.
inline size_t takeFigures(Chromium& chromium, const json& take) {
    PageFigures page(chromium, take);
    stateTakeVerdict(page, take);
    stateMount(page, take);
    stateKnocks(page, take);
    stateShake(page, take);
    stateLight(page, take);
    stateSeams(page, take);
    stateDistance(page, take);
    stateFrames(page, take);
    stateJob(page, take);
    return page.count();
}

}  // namespace plateloom::test
