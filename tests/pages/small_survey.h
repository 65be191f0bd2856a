// A survey of two rows of plates with a gap in the upper one, with known figures: enough for a
// page.
#pragma once

#include <cmath>

#include "io/jpeg.h"
#include "io/report_page.h"
#include "stitch/survey/survey.h"

namespace plateloom::test {

/// Eight plates in each row, 45 degrees apart; plate 3 of the upper row was never shot, one of the
/// lower could not be placed. Every figure differs from every other.
inline stitch::Survey smallSurvey() {
    stitch::Solve solve;
    for (int i = 0; i < 16; ++i) {
        if (i == 3) continue;
        io::SolvedPlate plate;
        plate.file = "plate." + std::to_string(1001 + i) + ".exr";
        plate.placed = i != 12;
        plate.placed_by = i == 5 ? "pose" : "ties";
        if (!plate.placed) plate.why_not = "too little to tie to";
        plate.pose = {std::remainder(170 - 45.0 * (i % 8), 360),
                      i < 8 ? 24.0 + 0.1 * i : -9.5 - 0.1 * i, 0.37 * std::sin(i)};
        plate.lens.focal_mm = 24.013 + 0.001 * i;
        plate.lens.focus_m = i == 9 ? 4.25 : 6.5;
        plate.lens.t_stop = i == 6 ? 4.01 : 2.83;
        plate.sensor = {36, 20.25, 2048, 1152};
        plate.gain.fill(std::exp2(0.031 * i - 0.2));
        plate.ties = 100 + 7 * i;
        plate.rms_px = 0.0317 + 0.0071 * i;
        plate.sigma_px = 0.0113 + 0.0007 * i;
        solve.plates.push_back(plate);
    }
    solve.notes = {"15 plates tied to lens samples by timecode"};
    solve.warnings = {"plate.1013.exr: left out"};
    solve.times = {{"read", 1.26, 3.5e7}, {"solve", 0.44, 0}};
    stitch::Survey survey = stitch::surveyOf({}, solve);
    survey.command = "check";
    survey.status = 1;
    for (size_t i = 0; i < survey.plates.size(); ++i) {
        auto& plate = survey.plates[i];
        plate.has_sample = i != 4;
        plate.clipped = 0.0012 * double(i);
        if (i != 7) plate.sharpness = 1.02 - 0.037 * double(i);
        plate.timecode = "10:00:" + std::to_string(10 + 3 * i) + ":05";
    }
    for (size_t i = 0; i < survey.pairs.size(); ++i) {
        survey.pairs[i].ties = int(30 + 11 * i);
        survey.pairs[i].rms_px = 0.021 + 0.003 * double(i);
        if (i % 3) survey.pairs[i].parallax_px = 0.011 * double(i);
    }
    for (int i = 0; i < 300; ++i)
        survey.residuals.push_back({i % 15, 0.03 + 0.94 * (i % 17) / 17.0,
                                    0.05 + 0.9 * (i % 13) / 13.0, 0.2 * std::sin(i),
                                    0.1 * std::cos(1.7 * i)});
    survey.findings.push_back({stitch::FindingKind::blur,
                               false,
                               {"plate.1003.exr"},
                               {},
                               {},
                               "plate.1003.exr is softer than its neighbours",
                               "look at it at full size"});
    survey.head_offset = {1.93, 3.0, 12.4};
    survey.peak_memory_bytes = 1.23e9;
    return survey;
}

/// A quarter of the turn each in red (from pan +180), green, blue and yellow; white above tilt 60.
inline io::Picture quarters() {
    io::Picture picture(1024, 512, 3);
    const float colours[4][3] = {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {1, 1, 0}};
    for (int y = 0; y < 512; ++y)
        for (int x = 0; x < 1024; ++x)
            for (int c = 0; c < 3; ++c)
                picture.at(x, y)[c] = y * 180 < 30 * 512 ? 1.0f : colours[x / 256][c];
    return picture;
}

inline io::ReportPictures picturesFor(stitch::Survey& survey) {
    io::ReportPictures pictures;
    for (size_t i = 0; i < survey.plates.size(); ++i)
        pictures.thumbnails.push_back(
            i == 2 ? "" : io::jpegOf(io::Picture(64, 36, 3, 0.05f * float(i)), 80));
    pictures.quick_panorama = io::jpegOf(quarters(), 92);
    survey.quick_panorama = {1024, 512};
    return pictures;
}

}  // namespace plateloom::test
