#include "stitch/survey/take_survey.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <set>
#include <system_error>
#include <tuple>

#include "calib/angle.h"
#include "stitch/compose/compose.h"
#include "stitch/survey/clip_courses.h"

namespace plateloom::stitch {

namespace {

std::string timecodeOf(const Take& take, size_t clip, int64_t number) {
    const auto timecode = take.timecodeAt(number - take.clips[clip].ahead, int(clip));
    return timecode ? io::toString(*timecode) : std::string();
}

SurveyedCamera cameraOf(const Take& take, const TakeSolve& solve, size_t c) {
    const TakeClip& clip = take.clips[c];
    const MountCamera& camera = solve.solved.mount.cameras[c];
    SurveyedCamera out;
    out.name = clip.clip.name;
    out.file = std::filesystem::path(clip.clip.pattern).filename().string();
    out.width_px = clip.clip.first.width;
    out.height_px = clip.clip.first.height;
    out.first = clip.clip.numbers.front();
    out.last = clip.clip.numbers.back();
    out.ahead = clip.ahead;
    out.first_timecode = timecodeOf(take, c, out.first);
    out.last_timecode = timecodeOf(take, c, out.last);
    out.lens_source = take.lensSourceOf(int(c));
    out.placed = camera.placed;
    out.why = camera.why_not;
    if (!camera.placed) return out;
    if (out.lens_source.empty())
        out.lens_source =
            camera.lens.distortion ? "found from the overlaps" : "the files themselves";
    out.placed_by = camera.ties > 0 ? "ties" : "pose";
    out.pose = calib::panTiltRoll(camera.standing.front().mountFromCamera);
    out.ties = camera.ties;
    out.rms_px = camera.rms_px;
    out.focal_mm = camera.lens.lens.focal_mm;
    out.sigma_px = camera.sigma_deg * calib::kRadPerDeg * camera.focal_px();
    const bool taken_out = take.rolled == Rolled::in_turn && solve.steady == Steady::lock;
    for (const Knock& knock : solve.knocks) {
        if (knock.clip != int(c)) continue;
        const double turn_deg =
            calib::angleBetween_deg(Matrix3d::Identity(), knock.beforeFromAfter);
        out.knocks.push_back({knock.frame, turn_deg,
                              turn_deg * calib::kRadPerDeg * camera.focal_px(),
                              camera.standing.size() > 1 ? SurveyedCamera::Knocked::As::parts
                              : taken_out                ? SurveyedCamera::Knocked::As::taken_out
                                                         : SurveyedCamera::Knocked::As::off});
    }
    return out;
}

SurveyedShake shakeOf(const std::vector<Matrix3d>& turns, const Take& take, const TakeSolve& solve,
                      const TakeSurvey& survey) {
    SurveyedShake shake;
    if (solve.steady != Steady::none)
        shake.steady = solve.steady == Steady::lock ? "lock" : "follow";
    double sum = 0;
    shake.largest_frame = survey.first;
    for (int64_t frame = survey.first; frame <= survey.last; ++frame) {
        const Matrix3d& turn = turns[size_t(frame - take.first)];
        shake.turn.push_back(calib::panTiltRoll(turn));
        const double off_px = calib::angleBetween_deg(Matrix3d::Identity(), turn) *
                              calib::kRadPerDeg * survey.grid.pixelsPerRadian();
        sum += off_px * off_px;
        if (off_px > shake.largest_px) {
            shake.largest_px = off_px;
            shake.largest_frame = frame;
        }
    }
    shake.rms_px = std::sqrt(sum / double(survey.count()));
    return shake;
}

// Of all cameras, or each one's own where takes were shot in turn.
void addShakes(const Take& take, const TakeSolve& solve, TakeSurvey& survey) {
    const TakenOut& turns = solve.solved.taken_out.empty() ? solve.shook : solve.solved.taken_out;
    if (!turns.shared.empty()) {
        survey.shakes.push_back(shakeOf(turns.shared, take, solve, survey));
        for (const auto& [first, last] : solve.shake_unknown)
            if (last >= survey.first && first <= survey.last)
                survey.shakes.back().unknown.emplace_back(std::max(first, survey.first),
                                                          std::min(last, survey.last));
    }
    for (size_t c = 0; c < turns.own.size(); ++c) {
        if (turns.own[c].empty()) continue;
        survey.shakes.push_back(shakeOf(turns.own[c], take, solve, survey));
        survey.shakes.back().camera = int(c);
    }
}

// Cells that change hands between two cameras.
struct Moved {
    std::vector<std::pair<int, int>> cells;
    double weight = 0;
    Vector3d middle = Vector3d::Zero();
};

SurveyedSeams::Place placeOf(const Moved& moved, const PanoramaGrid& grid) {
    SurveyedSeams::Place place;
    const double pan = panTiltOf(moved.middle.normalized())[0];
    double left = 0, right = 0, low = 90, high = -90;
    for (const auto& [x, y] : moved.cells) {
        const auto [p, t] = panTiltOf(grid.directionAt(x + 0.5, y + 0.5));
        const double off = std::remainder(p - pan, 360.0);
        left = std::max(left, off);
        right = std::min(right, off);
        low = std::min(low, t);
        high = std::max(high, t);
    }
    const double cell_deg = 360.0 / grid.width;
    place.width_deg = left - right + cell_deg;
    place.height_deg = high - low + cell_deg;
    place.pan_deg = std::remainder(pan + (left + right) / 2, 360.0);
    place.tilt_deg = (high + low) / 2;
    return place;
}

// `clips`: which clip each label is.
SurveyedSeams movedBetween(const SeamsFrom& before, const SeamsFrom& after,
                           const std::vector<int>& clips) {
    SurveyedSeams out;
    out.frame = after.frame;
    out.from_frame = after.frame - kSeamPassage;
    out.why = after.why;
    const LabelMap &from = before.map, &to = after.map;
    PanoramaGrid grid;
    grid.width = to.width;
    grid.height = to.height;
    std::map<std::pair<int, int>, Moved> moved;
    for (int y = 0; y < to.height; ++y)
        for (int x = 0; x < to.width; ++x) {
            const uint16_t a = from.at(x, y), b = to.at(x, y);
            if (a == b || a == kNoPlate || b == kNoPlate) continue;
            Moved& pair = moved[{clips[std::min(a, b)], clips[std::max(a, b)]}];
            const Vector3d direction = grid.directionAt(x + 0.5, y + 0.5);
            const double weight = std::hypot(direction.x(), direction.y());
            pair.cells.emplace_back(x, y);
            pair.weight += weight;
            pair.middle += weight * direction;
        }
    std::vector<std::pair<double, SurveyedSeams::Place>> places;
    for (const auto& [pair, cells] : moved) {
        auto place = placeOf(cells, grid);
        std::tie(place.a, place.b) = pair;
        places.emplace_back(cells.weight, place);
    }
    std::stable_sort(places.begin(), places.end(),
                     [](const auto& l, const auto& r) { return l.first > r.first; });
    for (const auto& [weight, place] : places) out.places.push_back(place);
    return out;
}

double leftAt(const std::vector<OverlapDistance::Left>& left, double inverse_m) {
    const auto beyond = std::find_if(left.begin(), left.end(),
                                     [&](const auto& one) { return one.inverse_m >= inverse_m; });
    if (beyond == left.end()) return left.back().parallax_px;
    if (beyond == left.begin()) return beyond->parallax_px;
    const auto& before = *(beyond - 1);
    const double share = (inverse_m - before.inverse_m) / (beyond->inverse_m - before.inverse_m);
    return before.parallax_px + share * (beyond->parallax_px - before.parallax_px);
}

SurveyedOverlap overlapOf(const TakeSolve& solve, const PanoramaGrid& grid,
                          const OverlapDistance& overlap) {
    SurveyedOverlap out;
    out.a = overlap.a;
    out.b = overlap.b;
    out.ties = overlap.ties;
    out.apart_m = overlap.apart_m;
    const auto [pan, tilt] = panTiltOf(overlap.direction);
    out.pan_deg = pan;
    out.tilt_deg = tilt;
    out.agrees_inverse = overlap.inverse_m;
    out.nearest_inverse = 1 / overlap.nearest_m;
    out.farthest_inverse = 1 / overlap.farthest_m;
    if (solve.solved.distance)
        out.composed_inverse = solve.solved.distance->inverseAt_m(overlap.direction);
    const double plate_px = solve.solved.mount.cameras[size_t(overlap.b)].focal_px();
    for (const auto& left : overlap.left)
        if (plate_px > 0)
            out.left.push_back(
                {left.inverse_m, left.parallax_px * grid.pixelsPerRadian() / plate_px});
    if (!out.left.empty()) out.composed_px = leftAt(out.left, out.composed_inverse);
    return out;
}

// The take's frames first to last, but for verdict and findings.
TakeSurvey surveyFrames(const Take& take, const TakeSolve& solve, const PanoramaGrid& grid,
                        int64_t first, int64_t last) {
    TakeSurvey survey;
    survey.first = first;
    survey.last = last;
    survey.take_first = take.first;
    survey.take_last = take.last;
    survey.rate = take.rate;
    survey.start = take.timecodeAt(first);
    survey.in_turn = take.rolled == Rolled::in_turn;
    survey.grid = grid;
    survey.notes = solve.notes;
    survey.warnings = solve.warnings;
    survey.stages = solve.times;
    const Mount& mount = solve.solved.mount;
    survey.mount_ties = mount.ties;
    survey.mount_rms_px = mount.rms_px;
    survey.moments = mount.moments;
    for (size_t c = 0; c < take.clips.size(); ++c)
        survey.cameras.push_back(cameraOf(take, solve, c));
    if (survey.mount_ties == 0) {
        // A solve that was read says it camera by camera; each tie is two cameras'.
        double squares = 0;
        int ends = 0;
        for (const auto& camera : mount.cameras) {
            ends += camera.ties;
            squares += camera.ties * camera.rms_px * camera.rms_px;
        }
        survey.mount_ties = ends / 2;
        survey.mount_rms_px = ends > 0 ? std::sqrt(squares / ends) : 0;
    }
    addShakes(take, solve, survey);
    std::vector<int> placed;
    for (size_t c = 0; c < mount.cameras.size(); ++c)
        if (mount.cameras[c].placed) placed.push_back(int(c));
    const auto& parts = solve.seams.parts;
    for (size_t i = 1; i < parts.size(); ++i)
        if (parts[i].frame >= first && parts[i].frame - kSeamPassage <= last)
            survey.seams.push_back(movedBetween(parts[i - 1], parts[i], placed));
    for (const auto& overlap : mount.overlaps)
        survey.overlaps.push_back(overlapOf(solve, grid, overlap));
    addCourses(take, solve, survey);
    survey.covered_share = std::numeric_limits<double>::infinity();
    for (const auto& [frame, share] : survey.cover)
        if (share) survey.covered_share = std::min(survey.covered_share, *share);
    if (std::isinf(survey.covered_share)) survey.covered_share = 0;
    return survey;
}

// First, middle, last, and the one that most is found of; where nothing is, the one with the most
// going on.
void choosePictures(TakeSurvey& survey) {
    constexpr double kFound = 10;
    std::vector<double> trouble(size_t(survey.count()), 0);
    std::vector<std::string> why(trouble.size());
    const auto add = [&](const FrameRun& run, double weight, const std::string& text) {
        for (int64_t frame = std::max(run.first, survey.first);
             frame <= std::min(run.second, survey.last); ++frame) {
            const auto i = size_t(frame - survey.first);
            if (trouble[i] == 0) why[i] = text;
            trouble[i] += weight;
        }
    };
    for (const auto& finding : survey.findings)
        for (const auto& run : finding.frames)
            add(run, finding.grave ? 100 * kFound : kFound, finding.text);
    for (const auto& seams : survey.seams)
        add({seams.frame - kSeamPassage / 2, seams.frame - kSeamPassage / 2}, 1,
            "seams move: " + seams.why);
    for (const auto& shake : survey.shakes)
        if (shake.camera < 0 && shake.largest_px > 0)
            add({shake.largest_frame, shake.largest_frame}, 0.5, "the mount is turned furthest");
    const auto worst = std::max_element(trouble.begin(), trouble.end());
    const int64_t middle = survey.first + survey.count() / 2;
    survey.pictures = {{survey.first, "first", ""}};
    if (survey.count() > 2) survey.pictures.push_back({middle, "middle", ""});
    if (survey.count() > 1) survey.pictures.push_back({survey.last, "last", ""});
    if (*worst > 0)
        survey.pictures.push_back({survey.first + (worst - trouble.begin()),
                                   *worst >= kFound ? "worst" : "busiest",
                                   why[size_t(worst - trouble.begin())]});
}

SurveyedFrames framesOf(const TakeStitchResult& result) {
    SurveyedFrames frames;
    frames.output = result.output.string();
    frames.preview = result.preview ? result.preview->string() : std::string();
    frames.each = result.each;
    for (const FrameMade& frame : result.each) {
        std::error_code error;
        const auto bytes =
            std::filesystem::file_size(io::framePath(frames.output, frame.frame), error);
        frames.there.push_back(!error);
        frames.bytes.push_back(error ? 0 : int64_t(bytes));
    }
    for (int64_t frame = result.take.first; frame <= result.take.last; ++frame) {
        if (frame >= result.first && frame <= result.last) continue;
        std::error_code error;
        ++frames.others;
        frames.others_there +=
            std::filesystem::exists(io::framePath(frames.output, frame), error) ? 1 : 0;
    }
    return frames;
}

}  // namespace

int64_t TakeSurvey::toLookAt() const {
    std::set<int64_t> named;
    for (const auto& finding : findings)
        for (const auto& run : finding.frames)
            for (int64_t frame = std::max(run.first, first); frame <= std::min(run.second, last);
                 ++frame)
                named.insert(frame);
    return int64_t(named.size());
}

TakeSurvey surveyOf(const Take& take, const TakeSolve& solve) {
    PanoramaGrid grid;
    grid.width = nativeWidth(standingPlates(solve.solved));
    grid.height = grid.width / 2;
    TakeSurvey survey = surveyFrames(take, solve, grid, take.first, take.last);
    addTakeFindings(take, survey);
    choosePictures(survey);
    return survey;
}

TakeSurvey surveyOf(const TakeStitchResult& result) {
    TakeSurvey survey =
        surveyFrames(result.take, result.solve, result.grid, result.first, result.last);
    survey.frames = framesOf(result);
    survey.stages.insert(survey.stages.end(), result.times.begin(), result.times.end());
    addTakeFindings(result.take, survey);
    choosePictures(survey);
    return survey;
}

}  // namespace plateloom::stitch
