#include "stitch/check/take_check.h"

#include <tbb/task_arena.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "io/clip_faults.h"
#include "io/numbered_files.h"
#include "stitch/job/stage_clock.h"
#include "stitch/survey/clip_findings.h"
#include "stitch/survey/cover_findings.h"

namespace plateloom::stitch {

// One moment, looked at.
struct TakeCheck::Seen {
    Moment moment;
    std::unique_ptr<Check> check;
    Survey survey;
};

namespace {

// The moment's plates as the check asks for them, in the order of the files that could be read.
ShootRecord recordOf(const Moment& moment, const std::vector<io::PlateFile>& files,
                     bool has_samples) {
    ShootRecord record;
    for (const io::PlateFile& file : files)
        for (const Plate& plate : moment.plates)
            if (plate.file.path == file.path) record.set.plates.push_back(plate);
    record.has_sample.assign(record.set.plates.size(), has_samples);
    return record;
}

CheckRequest requestFor(const Moment& moment, const CheckRequest& request, Rolled rolled) {
    CheckRequest one = request;
    one.plates.plates.clear();
    one.plates.frames.reset();
    one.plates.lens_tracks.clear();
    one.plates.report.reset();
    one.one_camera = rolled == Rolled::in_turn;
    for (const Plate& plate : moment.plates) {
        one.plates.plates.push_back(plate.file.path.string());
        if (plate.file.movie_frame > 0) one.movie_frames[plate.file.path] = plate.file.movie_frame;
    }
    const bool has_samples = !request.plates.lens_tracks.empty();
    one.describe = [&moment, has_samples](const std::vector<io::PlateFile>& files) {
        return recordOf(moment, files, has_samples);
    };
    return one;
}

std::string replaced(std::string text, const std::string& from, const std::string& to) {
    for (size_t at = 0; (at = text.find(from, at)) != std::string::npos; at += to.size())
        text.replace(at, from.size(), to);
    return text;
}

// A finding, by clips instead of files, and the moments that it was found at.
struct Told {
    Finding finding;
    std::vector<int> clips;
    std::vector<int64_t> frames;
};

Told byClips(const Finding& finding, const Moment& moment, const Take& take) {
    Told told{finding, {}, {moment.frame}};
    for (size_t i = 0; i < moment.plates.size(); ++i) {
        const std::string file = moment.plates[i].file.path.filename().string();
        const std::string& name = take.clips[size_t(moment.clip[i])].clip.name;
        if (std::find(finding.plates.begin(), finding.plates.end(), file) != finding.plates.end())
            told.clips.push_back(moment.clip[i]);
        told.finding.text = replaced(told.finding.text, file, name);
        told.finding.advice = replaced(told.finding.advice, file, name);
    }
    return told;
}

bool areSame(const Told& a, const Told& b) {
    constexpr double kSamePlace_deg = 10;
    if (a.finding.kind != b.finding.kind || a.clips != b.clips) return false;
    if (a.finding.pan_deg.has_value() != b.finding.pan_deg.has_value()) return false;
    if (a.finding.pan_deg)
        return std::abs(std::remainder(*a.finding.pan_deg - *b.finding.pan_deg, 360.0)) <
                   kSamePlace_deg &&
               std::abs(a.finding.tilt_deg.value_or(0) - b.finding.tilt_deg.value_or(0)) <
                   kSamePlace_deg;
    return !a.clips.empty() || a.finding.text == b.finding.text;
}

void add(std::vector<Told>& all, Told told) {
    const auto same =
        std::find_if(all.begin(), all.end(), [&](const Told& t) { return areSame(t, told); });
    if (same == all.end()) {
        all.push_back(std::move(told));
        return;
    }
    same->frames.push_back(told.frames.front());
    // The graver one says what there is to do.
    if (told.finding.grave && !same->finding.grave) {
        told.frames = same->frames;
        *same = std::move(told);
    }
}

// With its frames where it was not found at all moments; plates by the middle moment's files, which
// the page shows.
Finding settled(Told told, size_t moments, const Moment& middle, const Take& take) {
    if (told.frames.size() < moments) {
        std::sort(told.frames.begin(), told.frames.end());
        told.finding.text += " (at " + io::framesInWords(told.frames) + ")";
    }
    told.finding.plates.clear();
    for (const int clip : told.clips) {
        std::string name = take.clips[size_t(clip)].clip.name;
        for (size_t i = 0; i < middle.plates.size(); ++i)
            if (middle.clip[i] == clip) name = middle.plates[i].file.path.filename().string();
        told.finding.plates.push_back(std::move(name));
    }
    return std::move(told.finding);
}

// A camera that ties at one of the moments has its place for all of them: cameras of a take stand
// still against each other, and a solve uses ties of many moments. Such findings become notes.
std::vector<std::string> tiedAtOtherMoments(std::vector<Told>& all, size_t moments,
                                            const Take& take) {
    std::vector<std::string> notes;
    std::erase_if(all, [&](const Told& told) {
        if (told.finding.kind != FindingKind::not_tied || told.frames.size() >= moments)
            return false;
        for (const int clip : told.clips)
            notes.push_back(take.clips[size_t(clip)].clip.name + ": does not tie at " +
                            io::framesInWords(told.frames) +
                            ", but does at another moment that was looked at");
        return true;
    });
    return notes;
}

TakeArguments tolerant(TakeArguments arguments) {
    arguments.tolerates_gaps = true;
    return arguments;
}

}  // namespace

TakeCheck::TakeCheck(const CheckRequest& request, TakeArguments take)
    : request_(request), take_(gatherTake(tolerant(std::move(take)))) {}

TakeCheck::~TakeCheck() = default;

Check& TakeCheck::middle() {
    return *seen_[seen_.size() / 2].check;
}

// The frame nearest to this one of which all clips have a picture and a lens sample; else this one.
int64_t TakeCheck::wholeFrameBy(int64_t frame) const {
    const auto holds = [](const std::vector<int64_t>& frames, int64_t at) {
        return std::binary_search(frames.begin(), frames.end(), at);
    };
    const auto isWhole = [&](int64_t at) {
        for (size_t c = 0; c < take_.clips.size(); ++c)
            if (!take_.has(int(c), at) || holds(take_.clips[c].without_lens, at) ||
                holds(unfit_[c], at))
                return false;
        return true;
    };
    for (int64_t away = 0; away < take_.frames(); ++away)
        for (const int64_t at : {frame + away, frame - away})
            if (at >= take_.first && at <= take_.last && isWhole(at)) return at;
    return frame;
}

// All frames of all clips, at a glance. What becomes a finding is no warning as well.
void TakeCheck::studyClips(std::vector<Finding>& findings, std::vector<std::string>& warnings) {
    tbb::task_arena arena(request_.threads > 0 ? request_.threads : tbb::task_arena::automatic);
    unfit_.clear();
    for (const TakeClip& one : take_.clips) {
        const auto faults = io::faultsOf(one.clip);
        const auto study = arena.execute(
            [&] { return studyClip(one.clip, take_.first + one.ahead, take_.last + one.ahead); });
        const auto more = clipFindings(one, faults, study);
        findings.insert(findings.end(), more.begin(), more.end());
        for (const std::string& told : inWords(faults, one.clip)) std::erase(warnings, told);
        std::vector<int64_t> unfit;
        for (const int64_t number : study.black) unfit.push_back(number - one.ahead);
        for (const auto& [number, why] : study.damaged) unfit.push_back(number - one.ahead);
        std::sort(unfit.begin(), unfit.end());
        unfit_.push_back(std::move(unfit));
    }
}

Survey TakeCheck::look(const Progress& progress) {
    StageClock clock(progress);
    std::vector<Finding> findings;
    std::vector<std::string> warnings = take_.warnings;
    clock.begin("frames");
    studyClips(findings, warnings);
    clock.end();

    std::vector<int64_t> frames;
    for (const int64_t wanted : {take_.first, (take_.first + take_.last) / 2, take_.last})
        if (const int64_t frame = wholeFrameBy(wanted); frames.empty() || frames.back() < frame)
            frames.push_back(frame);
    seen_.clear();
    seen_.resize(frames.size());
    std::vector<Told> told;
    for (size_t m = 0; m < frames.size(); ++m) {
        Seen& seen = seen_[m];
        seen.moment = take_.at(frames[m]);
        seen.check = std::make_unique<Check>(requestFor(seen.moment, request_, take_.rolled));
        seen.survey = seen.check->look(progress);
        for (const Finding& finding : seen.survey.findings)
            add(told, byClips(finding, seen.moment, take_));
    }
    const Seen& middle = seen_[seen_.size() / 2];
    std::vector<Moment> moments;
    for (const Seen& seen : seen_) moments.push_back(seen.moment);
    const auto tied = tiedAtOtherMoments(told, seen_.size(), take_);
    for (Told& one : told)
        findings.push_back(settled(std::move(one), seen_.size(), middle.moment, take_));
    if (take_.rolled == Rolled::array)
        for (Finding& finding : ringFindings(take_, moments))
            findings.push_back(std::move(finding));
    Survey survey = middle.survey;
    sortFindings(findings);
    survey.findings = std::move(findings);
    survey.notes = take_.notes;
    survey.notes.push_back("looked at " + io::framesInWords(frames) + " of the take as plates");
    survey.notes.insert(survey.notes.end(), tied.begin(), tied.end());
    survey.warnings = std::move(warnings);
    survey.verdict = verdictOf(survey);
    survey.status = std::any_of(survey.findings.begin(), survey.findings.end(),
                                [](const Finding& finding) { return finding.grave; });
    std::vector<StageTime> stages = clock.times();
    for (const Seen& seen : seen_)
        for (const StageTime& stage : seen.survey.stages) {
            auto same = std::find_if(stages.begin(), stages.end(),
                                     [&](const auto& s) { return s.stage == stage.stage; });
            if (same == stages.end()) same = stages.insert(stages.end(), {stage.stage, 0, 0});
            same->seconds += stage.seconds;
            same->pixels += stage.pixels;
        }
    survey.stages = std::move(stages);
    return survey;
}

}  // namespace plateloom::stitch
