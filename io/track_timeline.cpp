#include "io/track_timeline.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <string_view>
#include <utility>

#include "calib/lens_blend.h"
#include "io/input_error.h"
#include "io/sample_agreement.h"

namespace plateloom::io {

namespace {

// Far below a frame, far above the rounding of seconds in a day.
constexpr double kSameTime_s = 1e-6;
constexpr double kUsualIntervals = 1.5;
constexpr double kLongest_s = 1, kLongest_frames = 24;

using Samples = std::vector<const LensSample*>;

double labelSeconds(const Timecode& t, int counting) {
    return (t.hours * 60.0 + t.minutes) * 60 + t.seconds + double(t.frames) / counting;
}

// Drop-frame leaves out the first fifteenth of a second of each minute that is not a tenth, at 30
// as at 60 frames a second (ST 12-1).
constexpr double kDropped_s = 1.0 / 15;

bool isLeftOut(const Timecode& t, int counting) {
    return t.minutes % 10 != 0 && t.seconds == 0 && t.frames < kDropped_s * counting - 1e-9;
}

std::string changeBetween(const LensSample& a, const LensSample& b) {
    if (a.clip != b.clip) return "the clip changes";
    if (a.camera != b.camera) return "the camera or the lens changes";
    if (a.sensor_width_mm != b.sensor_width_mm || a.sensor_height_mm != b.sensor_height_mm ||
        a.sensor_width_px != b.sensor_width_px || a.sensor_height_px != b.sensor_height_px)
        return "the sensor's active area changes";
    if (a.has_focal != b.has_focal || a.has_distortion != b.has_distortion ||
        a.has_shading != b.has_shading)
        return "part of the lens data begins or ends";
    if (!calib::canBlend(a.lens, b.lens)) return "the distortion model changes its direction";
    return "";
}

LensSample blend(const LensSample& a, const LensSample& b, double share, const Moment& moment) {
    LensSample out = a;
    out.lens = calib::blendLenses(a.lens, b.lens, share);
    out.focal_is_nominal = a.focal_is_nominal || b.focal_is_nominal;
    out.pose.reset();
    if (a.pose && b.pose) out.pose = calib::blendPoses(*a.pose, *b.pose, share);
    out.translation_m.reset();
    if (a.translation_m && b.translation_m)
        out.translation_m = (1 - share) * *a.translation_m + share * *b.translation_m;
    out.timecode = moment.timecode;
    out.frame = moment.frame;
    if (moment.rate) out.frame_rate = moment.rate;
    out.sub_frame = 0;
    out.file.clear();
    return out;
}

// The lower one of an even number: a track of two intervals has one usual one.
double median(std::vector<double> values) {
    const auto middle = values.begin() + ptrdiff_t((values.size() - 1) / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

}  // namespace

std::string toString(const Moment& moment) {
    if (moment.timecode) return toString(*moment.timecode);
    return moment.frame ? "frame " + std::to_string(*moment.frame) : "no time";
}

std::string TrackGap::said() const {
    std::string text;
    if (from && to)
        text = "no sample between " + toString(*from) + " and " + toString(*to);
    else if (to)
        text = "the track begins at " + toString(*to);
    else if (from)
        text = "the track ends at " + toString(*from);
    if (why.empty()) return text;
    return text.empty() ? why : text + ", where " + why;
}

TrackTimeline::TrackTimeline(const LensTrack& track, std::optional<FrameRate> unsaid_rate)
    : track_(&track) {
    Samples samples;
    for (const LensSample& sample : track.samples) samples.push_back(&sample);
    *this = TrackTimeline(track, samples, unsaid_rate);
}

std::vector<TrackTimeline> TrackTimeline::eachCamera(const LensTrack& track,
                                                     std::optional<FrameRate> unsaid_rate) {
    std::vector<std::pair<const LensSample*, Samples>> cameras;
    std::map<std::pair<std::string_view, std::string_view>, size_t> index;
    for (const LensSample& sample : track.samples) {
        const auto [known, is_new] =
            index.try_emplace({sample.clip, sample.camera}, cameras.size());
        if (is_new) cameras.push_back({&sample, {}});
        cameras[known->second].second.push_back(&sample);
    }
    std::vector<TrackTimeline> out;
    for (const auto& camera : cameras)
        out.push_back(TrackTimeline(track, camera.second, unsaid_rate));
    return out;
}

TrackTimeline::TrackTimeline(const LensTrack& track, const Samples& samples,
                             std::optional<FrameRate> unsaid_rate)
    : track_(&track) {
    readRates(samples, unsaid_rate);
    std::vector<Key> times, frames;
    for (const LensSample* sample : samples) {
        if (sample->timecode) {
            const int counting = sample->frame_rate.value_or(rate_).counting();
            const double part = double(sample->sub_frame) / sub_frames_ / counting;
            times.push_back({secondsOf(*sample->timecode, counting) + part, sample, nullptr});
        }
        if (sample->frame) frames.push_back({double(*sample->frame), sample, nullptr});
    }
    startAfterLongestHole(&times);
    by_time_ = axisOf(std::move(times), kLongest_s);
    by_frame_ = axisOf(std::move(frames), kLongest_frames);
}

void TrackTimeline::readRates(const Samples& samples, std::optional<FrameRate> unsaid_rate) {
    std::optional<FrameRate> said;
    int most_frames = 0;
    for (const LensSample* sample : samples) {
        if (!sample->timecode) continue;
        if (!said) said = sample->frame_rate;
        most_frames = std::max(most_frames, sample->timecode->frames);
        sub_frames_ = std::max(sub_frames_, sample->sub_frame + 1);
        drop_frame_ = drop_frame_ || sample->timecode->drop_frame;
    }
    if (!said && unsaid_rate && unsaid_rate->counting() > most_frames) said = unsaid_rate;
    for (const int usual : {24, 25, 30, 48, 50, 60, 100, 120})
        if (!said && usual > most_frames) said = FrameRate{usual, 1};
    rate_ = said.value_or(FrameRate{most_frames + 1, 1});
    drop_frame_ = drop_frame_ && rate_.counting() % 30 == 0;
}

// Drop-frame labels leave out time that never was: what remains runs on evenly.
double TrackTimeline::secondsOf(const Timecode& t, int counting) const {
    const double label = labelSeconds(t, counting);
    if (!drop_frame_) return label;
    const int minutes = t.hours * 60 + t.minutes;
    return label - kDropped_s * (minutes - minutes / 10);
}

double TrackTimeline::day_s() const {
    constexpr int kMinutes = 24 * 60;
    return kMinutes * 60 - (drop_frame_ ? kDropped_s * (kMinutes - kMinutes / 10) : 0);
}

// Midnight lies wherever the track has it: the day begins after the longest time without samples.
void TrackTimeline::startAfterLongestHole(std::vector<Key>* keys) const {
    std::vector<double> times;
    for (const Key& key : *keys) times.push_back(key.at);
    std::sort(times.begin(), times.end());
    if (times.empty()) return;
    double first = times.front(), longest = times.front() + day_s() - times.back();
    for (size_t i = 1; i < times.size(); ++i)
        if (times[i] - times[i - 1] > longest + kSameTime_s) {
            longest = times[i] - times[i - 1];
            first = times[i];
        }
    for (Key& key : *keys)
        if (key.at < first - kSameTime_s) key.at += day_s();
}

TrackTimeline::Axis TrackTimeline::axisOf(std::vector<Key> keys, double longest_bridged) const {
    std::stable_sort(keys.begin(), keys.end(),
                     [](const Key& a, const Key& b) { return a.at < b.at - 0.5 * kSameTime_s; });
    Axis axis;
    std::vector<double> intervals;
    for (const Key& key : keys) {
        if (axis.keys.empty() || key.at - axis.keys.back().at > kSameTime_s) {
            if (!axis.keys.empty()) intervals.push_back(key.at - axis.keys.back().at);
            axis.keys.push_back(key);
        } else if (!agree(*axis.keys.back().sample, *key.sample)) {
            axis.keys.back().rival = key.sample;
        }
    }
    if (!intervals.empty())
        axis.longest_bridged =
            std::min(kUsualIntervals * median(intervals), longest_bridged) + kSameTime_s;
    return axis;
}

Moment TrackTimeline::momentOf(const Key& key) const {
    return {key.sample->timecode, key.sample->frame_rate.value_or(rate_), key.sample->frame};
}

std::optional<TrackGap> TrackTimeline::gapAfter(const Axis& axis, size_t key) const {
    const Key &a = axis.keys[key], &b = axis.keys[key + 1];
    TrackGap gap{momentOf(a), momentOf(b), changeBetween(*a.sample, *b.sample)};
    if (b.at - a.at <= axis.longest_bridged && gap.why.empty()) return std::nullopt;
    if (&axis == &by_frame_)
        for (auto* end : {&gap.from, &gap.to}) (*end)->timecode.reset();
    return gap;
}

SampleInTime TrackTimeline::find(const Axis& axis, double at, double tolerance,
                                 const Moment& moment) const {
    const auto& keys = axis.keys;
    const auto after = std::upper_bound(keys.begin(), keys.end(), at + tolerance,
                                        [](double time, const Key& key) { return time < key.at; });
    SampleInTime out;
    if (after == keys.begin()) {
        out.gap = TrackGap{{}, momentOf(keys.front()), ""};
        return out;
    }
    const auto refuseRivals = [&](const Key& key) {
        if (key.rival)
            throw InputError(whereIs(*track_, *key.rival),
                             "contradicts " + whereIs(*track_, *key.sample) + ": both are at " +
                                 toString(momentOf(key)) +
                                 "; keep one, or tell them apart (sub-frame, camera or clip)");
    };
    const size_t k = size_t(after - keys.begin()) - 1;
    if (at - keys[k].at <= tolerance) {
        refuseRivals(keys[k]);
        out.exact = keys[k].sample;
    } else if (after == keys.end()) {
        out.gap = TrackGap{momentOf(keys.back()), {}, ""};
    } else if (!(out.gap = gapAfter(axis, k))) {
        refuseRivals(keys[k]);
        refuseRivals(keys[k + 1]);
        const double share = (at - keys[k].at) / (keys[k + 1].at - keys[k].at);
        out.between = blend(*keys[k].sample, *keys[k + 1].sample, share, moment);
    }
    return out;
}

SampleInTime TrackTimeline::at(const Moment& moment) const {
    SampleInTime out;
    if (moment.timecode && hasTimecodes()) {
        const int counting = moment.rate.value_or(rate_).counting();
        if (drop_frame_ && isLeftOut(*moment.timecode, counting)) {
            out.gap = TrackGap{{}, {}, "the track counts drop-frame, which has no such label"};
            return out;
        }
        const double first = by_time_.keys.front().at, last = by_time_.keys.back().at;
        double at = secondsOf(*moment.timecode, counting);
        while (at < first - kSameTime_s) at += day_s();
        while (at >= first + day_s() - kSameTime_s) at -= day_s();
        // Between the track's end and its beginning a day later: whichever is nearer.
        if (at > last && first + day_s() - at < at - last) at -= day_s();
        return find(by_time_, at, kSameTime_s, moment);
    }
    if (moment.frame && hasFrameNumbers()) {
        return find(by_frame_, double(*moment.frame), 0, moment);
    }
    out.gap = TrackGap{
        {},
        {},
        moment.timecode ? "its samples have no timecodes" : "its samples have no frame numbers"};
    return out;
}

std::vector<TrackGap> TrackTimeline::gaps() const {
    const Axis& axis = hasTimecodes() ? by_time_ : by_frame_;
    std::vector<TrackGap> out;
    for (size_t k = 0; k + 1 < axis.keys.size(); ++k)
        if (auto gap = gapAfter(axis, k)) out.push_back(std::move(*gap));
    return out;
}

std::vector<Moment> TrackTimeline::frames(std::optional<FrameRate> rate) const {
    return hasTimecodes() ? labels(rate.value_or(rate_)) : frameNumbers();
}

// Labels from the first sample's on, counted past midnight.
std::vector<Moment> TrackTimeline::labels(const FrameRate& rate) const {
    const int counting = rate.counting();
    constexpr int kDay_s = 24 * 3600;
    const auto labelOf = [&](const Key& key) {
        const int own = key.sample->frame_rate.value_or(rate_).counting();
        return labelSeconds(*key.sample->timecode, own) +
               double(key.sample->sub_frame) / sub_frames_ / own;
    };
    std::vector<Moment> out;
    const auto& keys = by_time_.keys;
    int64_t next = 0;
    for (size_t k = 0; k < keys.size(); ++k) {
        double label = labelOf(keys[k]);
        if (label < labelOf(keys.front())) label += kDay_s;
        double until = label;
        if (k + 1 < keys.size() && !gapAfter(by_time_, k))
            until += keys[k + 1].at - keys[k].at + kDropped_s;
        next = std::max(next, int64_t(std::ceil((label - kSameTime_s) * counting)));
        for (; double(next) <= (until + kSameTime_s) * counting; ++next) {
            Moment moment{timecodeOf(next, {counting, 1}, false), rate, {}};
            moment.timecode->drop_frame = drop_frame_;
            const SampleInTime found = at(moment);
            if (found.gap) continue;
            if (found.exact) moment.frame = found.exact->frame;
            out.push_back(moment);
        }
    }
    return out;
}

std::vector<Moment> TrackTimeline::frameNumbers() const {
    std::vector<Moment> out;
    const auto& keys = by_frame_.keys;
    for (size_t k = 0; k < keys.size(); ++k) {
        const auto first = int64_t(keys[k].at);
        const bool bridged = k + 1 < keys.size() && !gapAfter(by_frame_, k);
        const int64_t end = bridged ? int64_t(keys[k + 1].at) : first + 1;
        for (int64_t frame = first; frame < end; ++frame) out.push_back({{}, {}, frame});
    }
    return out;
}

}  // namespace plateloom::io
