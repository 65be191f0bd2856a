// What a report's page says in figures.
#pragma once

#include "tests/pages/page_figures.h"

namespace plateloom::test {

/// A column of the table of plates, and the line of a chosen plate's panel for the same value.
struct PlateFigure {
    const char *column, *line, *key, *table, *panel;  ///< digits and scale; "": stands only in one
};
inline const PlateFigure kPlateFigures[] = {
    {"pan °", "", "pan_deg", " 2", ""},
    {"tilt °", "", "tilt_deg", " 2", ""},
    {"roll °", "", "roll_deg", " 2", ""},
    {"focal mm", "", "focal_mm", " 2", ""},
    {"focus m", "Focus: # m", "focus_m", " 2", " 2"},
    {"T", "T-stop: #", "t_stop", " 2", " 2"},
    {"f", "f-stop: #", "f_stop", " 2", " 2"},
    {"ISO", "ISO: #", "iso", " 0", " 0"},
    {"", "Focal length: # mm", "focal_mm", "", " 2"},
    {"gain stops", "Gain: # stops", "gain_stops", " 2", " 2"},
    {"", "Exposure by its data: # stops", "exposure_stops", "", " 2"},
    {"ties", "", "ties", " 0", ""},
    {"rms px", "", "rms_px", " 3", ""},
    {"sigma px", "", "sigma_px", " 3", ""},
    {"clipped %", "Clipped: # %", "clipped", " 2 100", " 2 100"},
    {"crushed %", "Crushed: # %", "crushed", " 2 100", " 2 100"},
    {"detail", "Detail against neighbours: #", "sharpness", " 2", " 2"},
};

/// The page leaves out what no plate knows.
inline bool anyPlateKnows(const json& survey, const char* key) {
    return std::any_of(
        survey.at("plates").begin(), survey.at("plates").end(),
        [&](const json& plate) { return plate.contains(key) && !plate.at(key).is_null(); });
}

inline void stateTables(PageFigures& page, const json& survey) {
    std::string head = "| file", row = "{plates.*.number} | {plates.*.file}";
    for (const PlateFigure& one : kPlateFigures) {
        if (!*one.table || !anyPlateKnows(survey, one.key)) continue;
        head += std::string(" | ") + one.column;
        row += std::string(" | {plates.*.") + one.key + one.table + "}";
    }
    page.state("#all details:nth-of-type(1) thead tr", {head + " | timecode"});
    page.state("#all details:nth-of-type(1) tbody tr",
               forEach(survey.at("plates").size(), row + " | ..."));
    page.state("#all details:nth-of-type(2) thead tr",
               {"plates | overlap % | ties | rms px | parallax px"});
    std::vector<std::string> rows;
    for (const json& pair : survey.at("pairs")) {
        const std::string at = "{pairs." + std::to_string(rows.size());
        rows.push_back("{plates." + pair.at("a").dump() + ".number} and {plates." +
                       pair.at("b").dump() + ".number} | " + at + ".overlap 1 100} | " + at +
                       ".ties 0} | " + at + ".rms_px 3} | " + at + ".parallax_px 2}");
    }
    page.state("#all details:nth-of-type(2) tbody tr", rows);
}

inline void statePlate(PageFigures& page, const json& survey, size_t plate) {
    const std::string at = "{plates." + std::to_string(plate);
    const json& chosen = survey.at("plates")[plate];
    if (chosen.at("placed") == true)
        page.state("#panel .pose", {"pan " + at + ".pan_deg 1}° · tilt " + at +
                                    ".tilt_deg 1}° · roll " + at + ".roll_deg 2}°"});
    std::string lines = "Placed by: ... | Ties: " + at + ".ties 0} | Ties agree to: " + at +
                        ".rms_px 2} px | Direction sure to: " + at + ".sigma_px 2} px";
    for (const PlateFigure& one : kPlateFigures) {
        if (!*one.panel || !anyPlateKnows(survey, one.key)) continue;
        std::string line = one.line;
        const bool known = chosen.contains(one.key) && !chosen.at(one.key).is_null();
        if (!known) line.resize(line.find('#') + 1);  // no unit after "–"
        line.replace(line.find('#'), 1, at + "." + one.key + one.panel + "}");
        lines += " | " + line;
    }
    page.state("#panel .lines", {lines + " | Timecode: ... | Lens sample: ..."});

    std::vector<size_t> mine;
    const json& pairs = survey.at("pairs");
    for (size_t i = 0; i < pairs.size(); ++i)
        if (pairs[i].at("a") == plate || pairs[i].at("b") == plate) mine.push_back(i);
    std::stable_sort(mine.begin(), mine.end(), [&](size_t a, size_t b) {
        return pairs[a].at("overlap") > pairs[b].at("overlap");
    });
    std::vector<std::string> neighbours;
    for (const size_t i : mine) {
        const json& other = pairs[i].at(pairs[i].at("a") == plate ? "b" : "a");
        const std::string pair = "{pairs." + std::to_string(i);
        neighbours.push_back("with {plates." + other.dump() + ".number}: " + pair +
                             ".overlap 0 100} % overlap, " + pair + ".ties 0} ties");
    }
    page.state("#panel .neighbours li", neighbours);
}

inline void statePair(PageFigures& page, size_t pair) {
    const std::string at = "{pairs." + std::to_string(pair);
    page.state("#panel .lines", {"Overlap of the smaller: " + at + ".overlap 1 100} % | Ties: " +
                                 at + ".ties 0} | Ties agree to: " + at +
                                 ".rms_px 2} px | Parallax: " + at + ".parallax_px 2}..."});
}

/// Compares all figures of a report's page while a plate, a pair or nothing is chosen; how many.
inline size_t reportFigures(Chromium& chromium, const json& survey,
                            std::optional<size_t> plate = {}, std::optional<size_t> pair = {}) {
    PageFigures page(chromium, survey);
    page.state(".facts li:nth-child(2)", {"{cover.covered_share 1 100} % of the sphere covered"});
    if (survey.contains("head_offset") && !survey.at("head_offset").at("offset_mm").is_null())
        page.state(".facts li:nth-child(5)",
                   {"{head_offset.offset_mm 0} mm head off the entrance pupil"});
    stateTables(page, survey);
    if (plate) statePlate(page, survey, *plate);
    if (pair) statePair(page, *pair);
    stateJob(page, survey);
    return page.count();
}

}  // namespace plateloom::test
