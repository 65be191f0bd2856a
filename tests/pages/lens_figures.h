// What the page of a measured lens says in figures, section by section.
#pragma once

#include "tests/pages/page_figures.h"

namespace plateloom::test {

/// Where the supported part of a distortion curve ends; 0 when there is none.
inline size_t lastSupported(const json& setting) {
    size_t last = 0;
    const json& curve = setting.at("distortion");
    for (size_t i = 0; i < curve.size(); ++i)
        if (curve[i].at("supported") == true) last = i;
    return last;
}

/// The table of all settings, above the chosen one.
inline void stateChartSettings(PageFigures& page, const json& lens) {
    const json& settings = lens.at("settings");
    page.state("#settings thead tr",
               {"| focal length mm | ± mm | distortion at the points’ reach % | RMS px | points "
                "reach % | pictures"});
    std::vector<std::string> rows;
    for (size_t i = 0; i < settings.size(); ++i) {
        const std::string at = "{settings." + std::to_string(i);
        rows.push_back(at + ".name} | " + at + ".focal_mm 3} | " + at + ".focal_sigma_mm 4} | " +
                       at + ".distortion." + std::to_string(lastSupported(settings[i])) +
                       ".percent 2} | " + at + ".rms_px 3} | " + at +
                       ".support.share 0 100} | ...");
    }
    page.state("#settings tbody tr", rows);
}

inline void stateDistortion(PageFigures& page, const json& setting, const std::string& at) {
    page.state("#bends .lead",
               {"...The place that moves furthest moves " + at + ".grid.largest_px 1} px."});
    const size_t last = lastSupported(setting), corner = setting.at("distortion").size() - 1;
    const auto curve = [&](size_t point) { return at + ".distortion." + std::to_string(point); };
    const double percent = setting.at("distortion")[last].at("percent");
    std::string text = curve(last) + ".percent 2} % (" + (percent < 0 ? "barrel" : "pincushion") +
                       ") at " + curve(last) + ".height_mm 2} mm, as far as points reach";
    if (corner > last) text += ", " + curve(corner) + ".percent 2} % extrapolated at the corner";
    page.state("#percent .lead", {text + "."});
}

inline void stateChartPictures(PageFigures& page, const json& setting, const std::string& at) {
    const json& pictures = setting.at("pictures");
    const std::string shown = at + ".pictures." + setting.at("shown").at("picture").dump();
    page.state("#before .lead",
               {shown + ".file}, the picture whose lines bend most: " + shown +
                ".bend_recorded_px 2} px before, " + shown + ".bend_flat_px 3} px after."});
    page.state("#residuals .lead", {"... " + at + ".rms_px 3} px RMS; ..."});
    page.state("#straight .lead", {"... stray from straight lines by up to " + at +
                                   ".bend_recorded_px 2} px as recorded, and by up to " + at +
                                   ".bend_flat_px 3} px flattened."});
    // The pictures that were left out come first.
    std::vector<std::string> rows, used;
    for (size_t i = 0; i < pictures.size(); ++i) {
        const std::string one = at + ".pictures." + std::to_string(i);
        if (pictures[i].at("used") == true)
            used.push_back(one + ".file}residuals RMS" + one + ".rms_px 3} pxbend, recorded" + one +
                           ".bend_recorded_px 2} pxbend, flattened" + one + ".bend_flat_px 3} px");
        else
            rows.push_back(one + ".file}Left out: ...");
    }
    rows.insert(rows.end(), used.begin(), used.end());
    page.state("#straight .picture", rows);
}

inline void stateChartFigures(PageFigures& page, const json& setting, const std::string& at) {
    const auto pair = [&](const char* key) {
        return at + "." + key + ".0 2}, " + at + "." + key + ".1 2} px";
    };
    page.state("#all > .lines",
               {"Focal length: " + at + ".focal_mm 4} ± " + at +
                ".focal_sigma_mm 4} mm | Distortion’s centre, from the picture’s middle: " +
                pair("centre_px") + " | … one sigma: " + pair("centre_sigma_px") +
                " | Optical axis, from the picture’s middle: " + pair("axis_px") +
                " | … one sigma: " + pair("axis_sigma_px") + " | Residuals, RMS: " + at +
                ".rms_px 4} px | … of pictures left out in turn: " + at +
                ".held_out_rms_px 4} px | Noise of one coordinate: " + at +
                ".noise_px 4} px | Points: " + at + ".points 0} | Points reach: " + at +
                ".support.reach_mm 2} mm, " + at +
                ".support.share 1 100} % of the half diagonal | Cells along the frame’s edge with "
                "points: " +
                at + ".support.ring_share 0 100} %"});
    std::vector<std::string> rows;
    if (!setting.at("tried").empty()) {
        rows.emplace_back("model | numbers | held-out RMS px |");
        for (size_t i = 0; i < setting.at("tried").size(); ++i) {
            const std::string one = at + ".tried." + std::to_string(i);
            rows.push_back(one + ".model} | " + one + ".free_numbers 0} | " + one +
                           ".held_out_rms_px 4} |...");
        }
    }
    rows.emplace_back("file | points | RMS px | held-out px | tilt ° | distance m | edge px");
    for (size_t i = 0; i < setting.at("pictures").size(); ++i) {
        const std::string one = at + ".pictures." + std::to_string(i);
        rows.push_back(one + ".file} | " + one + ".points 0} | " + one + ".rms_px 3} | " + one +
                       ".held_out_rms_px 3} | " + one + ".tilt_deg 1} | " + one +
                       ".distance_m 2} | " + one + ".edge_px 2}");
    }
    page.state("#all details tr", rows);
}

/// Compares all figures of a page made of charts while setting `chosen` is shown; how many.
inline size_t chartFigures(Chromium& chromium, const json& lens, size_t chosen) {
    PageFigures page(chromium, lens);
    const json& setting = lens.at("settings")[chosen];
    const std::string at = "{settings." + std::to_string(chosen);
    stateChartSettings(page, lens);
    stateDistortion(page, setting, at);
    stateChartPictures(page, setting, at);
    stateChartFigures(page, setting, at);
    return page.count();
}

/// The same of a page made of flat fields.
inline size_t shadingFigures(Chromium& chromium, const json& lens, size_t chosen) {
    PageFigures page(chromium, lens);
    const json& settings = lens.at("settings");
    const std::string at = "{settings." + std::to_string(chosen);
    const std::string corner =
        ".heights." + std::to_string(settings[chosen].at("heights").size() - 1);
    page.state(".multiples .corner",
               forEach(settings.size(), "{settings.*" + corner + ".stops 2} stops at the corner"));
    page.state("#falloff .lead",
               {at + corner +
                ".stops 2} stops less light in the corner than in the middle; the "
                "cosine-fourth law makes " +
                at + corner + ".natural_stops 2} stops of it."});
    std::vector<std::string> fields;
    for (size_t i = 0; i < lens.at("pictures").size(); ++i) {
        if (lens.at("pictures")[i].at("setting") != chosen) continue;
        const std::string one = "{pictures." + std::to_string(i);
        fields.push_back(one + ".file}: leaves " + one + ".rms 2 100} % RMS, lamp " + one +
                         ".lamp_tilt_stops 2} stops from side to side, " + one +
                         ".ignored_cells 0} cell...");
    }
    page.state("#cells figcaption", fields);
    page.state("#all > .scroll thead tr", {"| 1/2 | 3/4 | corner | cosine⁴ | other | opened up | "
                                           "corner ± % | RMS % | used cells | left out"});
    page.state("#all > .scroll tbody tr",
               forEach(settings.size(),
                       "{settings.*.name} | {settings.*.heights.0.stops 2} | "
                       "{settings.*.heights.1.stops 2} | {settings.*.heights.2.stops 2} | "
                       "{settings.*.heights.2.natural_stops 2} | {settings.*.heights.2.other_stops "
                       "2} | {settings.*.heights.2.opened_stops 2} | {settings.*.corner_sigma 3 "
                       "100} | {settings.*.rms 3 100} | {settings.*.used_cells 0} | "
                       "{settings.*.ignored_cells 0}"));
    return page.count();
}

}  // namespace plateloom::test
