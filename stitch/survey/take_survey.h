// A take in figures: what an environment artist or a supervisor wants to know of a moving panorama.
// What is to be looked at and where, how the cameras stand on the mount, what each clip did over
// time, what of the shake was taken out, how light went, where seams moved and why, how much
// parallax is left, and what each frame cost. `solve` and `stitch` of clips make it; the page
// (io/take_page.h) shows it.
//
// A run of some frames only (a chunk, --frames) surveys its own. Frames are the take's numbers.
#pragma once

#include <cstdint>
#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "stitch/moving/frame_runs.h"
#include "stitch/moving/stitch_take.h"
#include "stitch/survey/survey.h"

namespace plateloom::stitch {

/// A value over time, told where it changes: it holds until the next one. Nullopt: not known.
using Course = std::vector<std::pair<int64_t, std::optional<double>>>;

struct TakeFinding : Finding {     ///< `plates` are names of clips
    std::vector<FrameRun> frames;  ///< at which it is to be seen; none: at all, or at no one
};

struct SurveyedCamera {
    std::string name, file;  ///< of its clip
    bool placed = false;
    std::string placed_by, why;
    calib::PanTiltRoll pose;  ///< on the mount, before any knock
    int ties = 0;
    double rms_px = 0, sigma_px = 0;  ///< of the plate
    double focal_mm = 0;
    int width_px = 0, height_px = 0;
    int64_t first = 0, last = 0;  ///< the clip's own frame numbers
    int64_t ahead = 0;            ///< by which they are ahead of the take's
    std::string first_timecode, last_timecode;
    std::string lens_source;  ///< "cam1.jsonl, by timecode"
    /// Frames of the take that are not there, show the frame before again, are black, can't be
    /// read.
    std::vector<FrameRun> missing, doubled, black, damaged;
    struct Knocked {
        int64_t frame = 0;
        double turn_deg = 0, turn_px = 0;  ///< px of the plate
        enum class As { off, parts, taken_out } as = As::off;
    };
    std::vector<Knocked> knocks;
    Course focus_m, iris, focal_course_mm;
    bool iris_in_t_stops = false;
    /// What brings the camera to the common exposure; and how much of it is beyond what lens data
    /// and headers say of the exposure. Green, stops.
    Course gain_stops, beyond_stops;
};

/// Of all cameras of an array, or of one camera by itself.
struct SurveyedShake {
    int camera = -1;     ///< -1: of all
    std::string steady;  ///< "lock", "follow", or "": it stays in
    /// One a frame: what was taken out; what locking would take out where the shake stays in.
    std::vector<calib::PanTiltRoll> turn;
    double rms_px = 0, largest_px = 0;  ///< angle of the turn, at the panorama's scale
    int64_t largest_frame = 0;
    std::vector<FrameRun> unknown;
};

struct SurveyedSeams {
    int64_t frame = 0, from_frame = 0;  ///< wholly there, and where they begin to pass there
    std::string why;
    /// What changes hands between two cameras: the middle and the reach of it.
    struct Place {
        int a = 0, b = 0;
        double pan_deg = 0, tilt_deg = 0, width_deg = 0, height_deg = 0;
    };
    std::vector<Place> places;  ///< the largest first
};

struct SurveyedOverlap {
    int a = 0, b = 0, ties = 0;  ///< cameras
    double apart_m = 0, pan_deg = 0, tilt_deg = 0;
    /// 1 / m: where its ties agree best, within which four of five lie, and composed for.
    double agrees_inverse = 0, nearest_inverse = 0, farthest_inverse = 0, composed_inverse = 0;
    /// Median parallax left when composed for a distance, at the panorama's scale. By inverse
    /// distance.
    std::vector<OverlapDistance::Left> left;
    std::optional<double> composed_px;  ///< at the distance composed for
};

/// The frames that a stitch was asked for.
struct SurveyedFrames {
    std::string output, preview;  ///< patterns; "" for no preview
    std::vector<FrameMade> each;
    std::vector<char> there;               ///< one a frame: its file is there now
    std::vector<int64_t> bytes;            ///< of that file
    int64_t others = 0, others_there = 0;  ///< the take's other frames
};

struct TakeSurvey {
    std::string command;  ///< "solve", "stitch"
    int status = 0;
    std::string verdict;  ///< one sentence, the worst thing first
    std::vector<TakeFinding> findings;
    int64_t first = 0, last = 0;            ///< frames surveyed
    int64_t take_first = 0, take_last = 0;  ///< of the whole take
    std::optional<io::FrameRate> rate;
    std::optional<io::Timecode> start;  ///< of `first`
    bool in_turn = false;
    PanoramaGrid grid;
    double covered_share = 0;  ///< of the sphere, at the frame with the least
    Course cover;              ///< the same over time
    std::vector<SurveyedCamera> cameras;
    int mount_ties = 0;  ///< 0: not known
    double mount_rms_px = 0;
    std::vector<int64_t> moments;  ///< that the mount was solved from; none: not known
    std::vector<SurveyedShake> shakes;
    std::vector<SurveyedSeams> seams;  ///< moves within the frames surveyed
    std::vector<SurveyedOverlap> overlaps;
    std::optional<SurveyedFrames> frames;
    struct Picture {
        int64_t frame = 0;
        std::string what;  ///< "first", "middle", "last", "worst"
        std::string why;   ///< of the worst
    };
    std::vector<Picture> pictures;
    std::vector<StageTime> stages;
    std::vector<std::string> notes, warnings;
    double peak_memory_bytes = 0;

    [[nodiscard]] int64_t count() const { return last - first + 1; }
    /// Frames that some finding names.
    [[nodiscard]] int64_t toLookAt() const;
};

/// After a solve: all frames, at the panorama size that keeps the plates' own resolution. Reads
/// headers of all frames, and looks at each at a glance. `command`, `status` and
/// `peak_memory_bytes` are left to the caller, as below.
[[nodiscard]] TakeSurvey surveyOf(const Take& take, const TakeSolve& solve);
/// After a stitch: the frames that it was asked for.
[[nodiscard]] TakeSurvey surveyOf(const TakeStitchResult& result);

[[nodiscard]] nlohmann::json surveyJson(const TakeSurvey& survey);

/// What the survey's figures mean, worst first, and the verdict. Part of surveyOf.
void addTakeFindings(const Take& take, TakeSurvey& survey);

}  // namespace plateloom::stitch
