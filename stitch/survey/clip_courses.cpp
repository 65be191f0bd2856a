#include "stitch/survey/clip_courses.h"

#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "io/clip_faults.h"
#include "io/input_error.h"
#include "stitch/survey/clip_findings.h"
#include "stitch/survey/clip_study.h"

namespace plateloom::stitch {

namespace {

constexpr int kCoverWidth = 1200;

// One placed camera at one frame.
struct Seen {
    int clip = 0;
    bool absent = false, there = false;
    calib::Lens lens;
    double gain_stops = 0, beyond_stops = 0;
};

struct Look {
    std::vector<Seen> cameras;
    std::string stands;  // who is there, and as it stands: what cover follows from
};

double stopsOf(const std::array<float, 3>& gain) {
    return std::log2(double(gain[0]) * double(gain[1]) * double(gain[2])) / 3;
}

Look lookAt(const Take& take, const TakeSolve& solve, int64_t number) {
    const TakeFrame frame = takeFrame(take, solve.solved, number);
    Look look;
    for (size_t i = 0; i < frame.plates.size(); ++i) {
        const auto clip = size_t(frame.clip[i]);
        const auto& camera = solve.solved.mount.cameras[clip];
        Seen seen;
        seen.clip = int(clip);
        seen.absent = frame.absent[i] != 0;
        seen.there = !frame.files[i].path.empty();
        seen.lens = frame.plates[i].lens.lens();
        seen.gain_stops = stopsOf(frame.plates[i].gain);
        seen.beyond_stops = stopsOf(solve.solved.light[clip].gainAt(number, std::nullopt));
        size_t standing = camera.standing.size() - 1;
        while (standing > 0 && camera.standing[standing].from_frame > number) --standing;
        look.stands += seen.absent ? std::string("-") : std::to_string(standing) + ",";
        look.cameras.push_back(std::move(seen));
    }
    return look;
}

double coverOf(const Take& take, const TakeSolve& solve, int64_t number) {
    const TakeFrame frame = takeFrame(take, solve.solved, number);
    std::vector<PlacedPlate> plates;
    for (size_t i = 0; i < frame.plates.size(); ++i)
        if (!frame.absent[i]) plates.push_back(frame.plates[i]);
    return coveredShare(coverMap(sphereFrames(plates), kCoverWidth));
}

void add(Course& course, int64_t frame, std::optional<double> value, double same) {
    if (!course.empty()) {
        const auto& last = course.back().second;
        if (last.has_value() == value.has_value() && (!value || std::abs(*last - *value) <= same))
            return;
    }
    course.emplace_back(frame, value);
}

// Changes that nobody sees are none.
constexpr double kSameStops = 5e-4, kSameShare = 1e-4;

void addSeen(int64_t frame, const Seen& seen, SurveyedCamera& camera) {
    const auto known = [&](std::optional<double> value) {
        return seen.there ? value : std::nullopt;
    };
    const auto ring = [&](Course& course, std::optional<double> value) {
        add(course, frame, known(value), kSameShare * std::abs(value.value_or(0)));
    };
    ring(camera.focus_m, seen.lens.focus_m);
    camera.iris_in_t_stops |= seen.lens.t_stop.has_value();
    ring(camera.iris, seen.lens.t_stop ? seen.lens.t_stop : seen.lens.f_stop);
    ring(camera.focal_course_mm, seen.lens.focal_mm);
    add(camera.gain_stops, frame, known(seen.gain_stops), kSameStops);
    add(camera.beyond_stops, frame, known(seen.beyond_stops), kSameStops);
}

std::vector<FrameRun> inRange(std::vector<FrameRun> runs, int64_t first, int64_t last) {
    std::erase_if(runs,
                  [&](const FrameRun& run) { return run.second < first || run.first > last; });
    for (auto& run : runs) {
        run.first = std::max(run.first, first);
        run.second = std::min(run.second, last);
    }
    return runs;
}

// Frames of one clip that are not as they should be, by the clip's own numbers.
void studyFrames(const TakeClip& clip, TakeSurvey& survey, SurveyedCamera& camera) {
    const auto faults = io::faultsOf(clip.clip);
    const auto study = studyClip(clip.clip, survey.first + clip.ahead, survey.last + clip.ahead);
    const auto ofTake = [&](const std::vector<int64_t>& numbers) {
        std::vector<int64_t> frames;
        for (const int64_t number : numbers) {
            const int64_t frame = number - clip.ahead;
            if (frame >= survey.first && frame <= survey.last) frames.push_back(frame);
        }
        std::sort(frames.begin(), frames.end());
        frames.erase(std::unique(frames.begin(), frames.end()), frames.end());
        return runsFrom(frames);
    };
    std::vector<int64_t> doubled = faults.repeated, damaged;
    doubled.insert(doubled.end(), study.frozen.begin(), study.frozen.end());
    for (const auto& [number, why] : study.damaged) damaged.push_back(number);
    camera.doubled = ofTake(doubled);
    camera.damaged = ofTake(damaged);
    for (auto& finding : clipFindings(clip, faults, study))
        if (finding.kind == FindingKind::timecode)
            survey.findings.push_back({std::move(finding), {}});
    // What is told as a finding is no warning as well.
    for (const std::string& told : io::inWords(faults, clip.clip))
        std::erase(survey.warnings, told);
}

}  // namespace

void addCourses(const Take& take, const TakeSolve& solve, TakeSurvey& survey) {
    for (size_t c = 0; c < take.clips.size(); ++c) {
        SurveyedCamera& camera = survey.cameras[c];
        studyFrames(take.clips[c], survey, camera);
        std::vector<int64_t> missing;
        for (int64_t frame = survey.first; frame <= survey.last; ++frame)
            if (!take.has(int(c), frame)) missing.push_back(frame);
        camera.missing = runsFrom(missing);
        std::vector<FrameRun> black;
        for (const auto& run : solve.solved.black)
            if (run.clip == int(c)) black.emplace_back(run.first, run.last);
        camera.black = inRange(std::move(black), survey.first, survey.last);
    }
    std::vector<std::optional<Look>> looks(size_t(survey.count()));
    tbb::parallel_for(size_t(0), looks.size(), [&](size_t i) {
        try {
            looks[i] = lookAt(take, solve, survey.first + int64_t(i));
        } catch (const io::InputError&) {
            // A frame that went away meanwhile: the glance has told it as damaged.
        }
    });
    std::map<std::string, std::optional<double>> cover_of;
    for (size_t i = 0; i < looks.size(); ++i) {
        const int64_t frame = survey.first + int64_t(i);
        if (!looks[i]) {
            add(survey.cover, frame, std::nullopt, 0);
            continue;
        }
        for (const Seen& seen : looks[i]->cameras)
            addSeen(frame, seen, survey.cameras[size_t(seen.clip)]);
        const auto [known, is_new] = cover_of.try_emplace(looks[i]->stands);
        if (is_new) try {
                known->second = coverOf(take, solve, frame);
            } catch (const io::InputError&) {
            }
        add(survey.cover, frame, known->second, 0);
    }
}

}  // namespace plateloom::stitch
