// A survey: all that a plate unit wants to know of a set of plates before the kit is struck. What
// covers which part of the sphere, how well neighbours overlap and tie, what moved from plate to
// plate, and what to shoot again. `check` makes all of it; `solve` and `stitch` the part that their
// own work has found out. The page (io/report_page.h) shows it, `--json` prints it.
#pragma once

#include <array>
#include <cstdint>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "stitch/solve/solve.h"
#include "stitch/survey/cover.h"
#include "stitch/survey/wanted_cover.h"

namespace plateloom::stitch {

enum class FindingKind {
    hole,           ///< a direction within the shoot's own rows that no plate sees
    overlap,        ///< neighbours that share less than they need to tie
    not_tied,       ///< a plate without a place of its own, and no better reason known
    knocked,        ///< a camera of a mount that stands otherwise from a frame on
    texture,        ///< a plate that holds too little to tie to
    blur,           ///< softer than its neighbours where they overlap
    exposure,       ///< lighter or darker than its lens data say
    clipped,        ///< a share of the plate is beyond what the recording holds
    crushed,        ///< a share of the plate is black
    focus,          ///< focus moved from plate to plate
    iris,           ///< iris moved
    focal,          ///< focal length changed
    roll,           ///< the horizon leans
    parallax,       ///< ties that no rotation explains: the head is off the entrance pupil
    shake,          ///< the mount's turn is not known, or stays in
    timecode,       ///< a gap, a double, or one that runs backwards
    sample,         ///< no lens sample, or one that stands still while others move
    missing_plate,  ///< in the camera report, not on disk
    duplicate,      ///< the same picture twice
    damaged         ///< a file that can't be read, or is still being written
};
[[nodiscard]] const char* nameOf(FindingKind kind);

struct Finding {
    FindingKind kind = FindingKind::hole;
    bool grave = false;                       ///< must be fixed before the kit is struck
    std::vector<std::string> plates;          ///< file names
    std::optional<double> pan_deg, tilt_deg;  ///< where to look, or to shoot again
    std::string text;                         ///< what was found
    std::string advice;                       ///< what to do
};

struct SurveyedPlate {
    std::string file;
    int number = 0;  ///< 1, 2, ... in the order given, for the page's labels
    bool placed = false;
    std::string placed_by;  ///< "ties" or "pose"; "" when it is not placed
    std::string why;        ///< when it is not placed
    calib::PanTiltRoll pose;
    double focal_mm = 0;
    std::optional<double> focus_m, t_stop, f_stop, iso;
    std::optional<double> gain_stops;        ///< brings the plate to the common exposure
    std::optional<double> exposure_stops;    ///< by its data: more light is more
    std::optional<double> clipped, crushed;  ///< shares of the picture, 0 to 1
    /// Detail against its neighbours' in the overlaps: 1 is the same, 0.5 half of it.
    std::optional<double> sharpness;
    int ties = 0;
    double rms_px = 0, sigma_px = 0;
    std::string timecode;  ///< "" for none
    bool has_sample = false;
    int width_px = 0, height_px = 0;
    /// The recorded frame's edge through its lens, closed (the last point is the first again), pan
    /// unwrapped: it may run past +-180 so that a line never jumps. A plate over a pole runs on
    /// from pan to pan + 360.
    std::vector<PanTilt_deg> outline;
};

/// Two plates that share something of the sphere.
struct SurveyedPair {
    int a = 0, b = 0;    ///< indices into the plates, a < b
    double overlap = 0;  ///< share of the smaller plate's picture that both see
    int ties = 0;
    double rms_px = 0;
    /// What is left of the ties' residuals beyond what they should be off by; nullopt without ties.
    std::optional<double> parallax_px;
};

struct SurveyedCover {
    std::string wanted;        ///< in words: "all round, tilt -31 to 45"
    double covered_share = 0;  ///< of the whole sphere
    double band_low_deg = 0, band_high_deg = 0;
    CoverMap map;
};

struct SurveyedResidual {
    int plate = 0;
    double x = 0, y = 0;  ///< place in the picture, shares of width and height
    double dx_px = 0, dy_px = 0;
};

struct Survey {
    std::string command;  ///< "check", "solve", "stitch"
    int status = 0;
    std::string verdict;  ///< one sentence, the worst thing first
    std::vector<Finding> findings;
    std::vector<SurveyedPlate> plates;
    std::vector<SurveyedPair> pairs;
    std::vector<Hole> holes;
    SurveyedCover cover;
    std::vector<SurveyedResidual> residuals;
    /// How far the entrance pupil is off the head's axis, where ties tell.
    struct HeadOffset {
        double parallax_px = 0;
        std::optional<double> nearest_m, offset_mm;
    };
    std::optional<HeadOffset> head_offset;
    std::optional<std::pair<int, int>> quick_panorama;  ///< width and height of the picture
    std::vector<StageTime> stages;
    std::vector<std::string> notes, warnings;
    double peak_memory_bytes = 0;
};

[[nodiscard]] nlohmann::json surveyJson(const Survey& survey);

/// What a solve tells: places, cover, holes, overlaps, ties, and the findings that follow from
/// them. `plates` are those of the solve, or empty where only the solve is known: exposure by data,
/// ISO and the like then stay unknown. `command` and `status` are left to the caller.
[[nodiscard]] Survey surveyOf(const std::vector<Plate>& plates, const Solve& solve,
                              const CoverRequest& request = {});

}  // namespace plateloom::stitch
