// The survey of a short take with something of everything, every figure differing from every other:
// enough for a page.
#pragma once

#include <cmath>

#include "io/jpeg.h"
#include "io/take_page.h"
#include "stitch/survey/take_survey.h"

namespace plateloom::test {

/// Frames 1001 to 1040 from three cameras: the first one missing some frames, the second one
/// knocked and pulling its iris, the third one without a place. Stitched, half of it kept.
inline stitch::TakeSurvey smallTake() {
    stitch::TakeSurvey survey;
    survey.command = "stitch";
    survey.status = 1;
    survey.first = survey.take_first = 1001;
    survey.last = 1040;
    survey.take_last = 1060;
    survey.rate = io::FrameRate{24000, 1001};
    survey.start = io::Timecode{10, 0, 0, 0, false};
    survey.grid.width = 8192;
    survey.grid.height = 4096;
    survey.covered_share = 0.1931;
    survey.cover = {{1001, 0.2317}, {1005, 0.1931}, {1009, 0.2317}};
    for (int c = 0; c < 3; ++c) {
        stitch::SurveyedCamera camera;
        camera.name = "cam" + std::to_string(c + 1);
        camera.file = camera.name + ".####.exr";
        camera.placed = c != 2;
        camera.placed_by = "ties";
        if (!camera.placed) camera.why = "too little to tie to";
        camera.pose = {47.123 - 46 * c, 5.2 + 0.3 * c, 0.31 - 0.2 * c};
        camera.ties = 1011 + 97 * c;
        camera.rms_px = 0.0331 + 0.004 * c;
        camera.sigma_px = 0.0071 + 0.001 * c;
        camera.focal_mm = 28.119 + 0.01 * c;
        camera.width_px = 2048;
        camera.height_px = 1152;
        camera.first = 1001 + 10 * c;
        camera.last = 1060 + 10 * c;
        camera.ahead = 10 * c;
        camera.first_timecode = "10:00:00:00";
        camera.last_timecode = "10:00:02:11";
        camera.lens_source = camera.name + ".jsonl by timecode";
        camera.iris_in_t_stops = true;
        camera.focus_m = {{1001, 6.53 + c}};
        camera.iris = {{1001, 2.8}};
        camera.focal_course_mm = {{1001, 28.119}};
        camera.gain_stops = {{1001, 0.0412 + 0.03 * c}};
        camera.beyond_stops = camera.gain_stops;
        survey.cameras.push_back(camera);
    }
    survey.cameras[0].missing = {{1005, 1008}};
    survey.cameras[0].doubled = {{1030, 1030}};
    survey.cameras[1].black = {{1020, 1021}};
    survey.cameras[1].knocks = {{1025, 0.213, 5.87, stitch::SurveyedCamera::Knocked::As::off}};
    for (int i = 1; i <= 12; ++i) {
        survey.cameras[1].iris.emplace_back(1010 + i, 2.8 + 0.1 * i);
        survey.cameras[1].gain_stops.emplace_back(1010 + i, 0.0712 + 0.09 * i);
    }
    stitch::SurveyedShake shake;
    shake.steady = "lock";
    for (int i = 0; i < 40; ++i)
        shake.turn.push_back(
            {0.2 * std::sin(0.3 * i), 0.1 * std::cos(0.2 * i), 0.03 * std::sin(i)});
    shake.rms_px = 3.217;
    shake.largest_px = 6.113;
    shake.largest_frame = 1006;
    shake.unknown = {{1017, 1018}};
    survey.shakes = {shake};
    survey.seams = {{1013, 1009, "something crosses cam1 | cam2", {{0, 1, 24.3, -5.7, 9.1, 17.4}}},
                    {1035, 1031, "the place is free again", {{0, 1, 23.9, -6.1, 8.3, 16.2}}}};
    survey.overlaps = {{0,
                        1,
                        431,
                        0.117,
                        24,
                        5,
                        1 / 8.3,
                        1 / 5.2,
                        1 / 21.0,
                        1 / 12.0,
                        {{0, 9.31}, {1 / 25.0, 6.12}, {1 / 8.3, 0.41}, {1 / 5.0, 7.7}},
                        2.87}};
    survey.mount_ties = 2119;
    survey.mount_rms_px = 0.0352;
    survey.moments = {1001, 1020, 1040};
    survey.frames.emplace();
    survey.frames->output = "/job/pano.####.exr";
    for (int i = 0; i < 40; ++i) {
        stitch::FrameMade frame{1001 + i, i >= 20, {}};
        if (i < 20) frame.times = {{"read", 0.5 + 0.01 * i, 1e6}, {"compose", 1.5 + 0.03 * i, 2e6}};
        survey.frames->each.push_back(frame);
        survey.frames->there.push_back(i != 39);
        survey.frames->bytes.push_back(i == 39 ? 0 : 31234567 + 1001 * i);
    }
    survey.frames->others = 20;
    survey.frames->others_there = 7;
    using Kind = stitch::FindingKind;
    survey.findings = {
        {{Kind::knocked, true, {"cam2"}, {}, {}, "cam2 was knocked at frame 1025", "solve again"},
         {{1025, 1040}}},
        {{Kind::missing_plate,
          true,
          {"cam1"},
          {},
          {},
          "cam1 has no frames 1005-1008",
          "copy again"},
         {{1005, 1008}}},
        {{Kind::iris, false, {"cam2"}, {}, {}, "cam2 moves its iris", "nothing"}, {}}};
    survey.verdict = "Look at it: cam2 was knocked at frame 1025 (and 1 more)";
    survey.pictures = {{1001, "first", ""},
                       {1021, "middle", ""},
                       {1040, "last", ""},
                       {1025, "worst", "cam2 was knocked at frame 1025"}};
    survey.stages = {{"the take", 12.3, 3e8}, {"compose", 41.7, 9e8}};
    survey.notes = {"cam1: tied to cam1.jsonl by timecode"};
    survey.warnings = {"cam3 was left out"};
    survey.peak_memory_bytes = 1.23e9;
    return survey;
}

/// As writeTakeReport adds it.
inline nlohmann::json takeJson(const stitch::TakeSurvey& survey) {
    nlohmann::json figures = stitch::surveyJson(survey);
    figures["shown"] = {{"x", 0.2},      {"y", 0.35},    {"width", 0.6},
                        {"height", 0.3}, {"top_tan", 1}, {"bottom_tan", -1}};
    return figures;
}

inline io::TakePictures picturesFor(const stitch::TakeSurvey& survey) {
    io::TakePictures pictures;
    for (size_t i = 0; i < survey.pictures.size(); ++i)
        pictures.jpeg.push_back(io::jpegOf(io::Picture(96, 24, 3, 0.1f + 0.2f * float(i)), 80));
    return pictures;
}

}  // namespace plateloom::test
