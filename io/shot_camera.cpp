#include "io/shot_camera.h"

#include <algorithm>
#include <charconv>

#include "io/input_error.h"
#include "io/numbered_files.h"
#include "io/track_timeline.h"

namespace plateloom::io {

namespace {

constexpr int64_t kFirstFrame = 1001;  // common practice

// The number in a frame's file name: its last run of digits.
std::optional<int64_t> frameOf(const PlateFile& file) {
    if (file.movie_frame > 0) return file.movie_frame;
    const std::string stem = file.path.stem().string();
    const size_t end = stem.find_last_of("0123456789");
    if (end == std::string::npos) return std::nullopt;
    const size_t before = stem.find_last_not_of("0123456789", end);
    const size_t begin = before == std::string::npos ? 0 : before + 1;
    int64_t number = 0;
    const auto read = std::from_chars(&stem[begin], &stem[end] + 1, number);
    if (read.ec != std::errc()) return std::nullopt;
    return number;
}

void checkPoses(const LensTrack& track) {
    for (const auto& sample : track.samples)
        if (sample.pose) return;
    throw InputError(track.path.string(),
                     "none of its " + std::to_string(track.samples.size()) +
                         " samples says where the camera looks (pan, tilt, roll): this is a lens "
                         "track; a view needs the shot's camera");
}

// Adds the frame, or why there is none.
void add(const LensTrack& track, const SampleInTime& found, ShotFrame frame, ShotCamera& camera) {
    if (found.gap) {
        camera.missing.push_back({frame.number, found.gap->said()});
        return;
    }
    const LensSample& sample = *found.sample();
    frame.where = whereIs(track, sample);
    if (!sample.pose) {
        camera.missing.push_back({frame.number, frame.where + " has no pose"});
        return;
    }
    frame.sample = sample;
    camera.frames.push_back(std::move(frame));
}

// Without times and numbers: one frame a sample.
ShotCamera sampleBySample(const LensTrack& track, std::optional<FrameRange> wanted, int64_t first) {
    ShotCamera camera;
    for (size_t i = 0; i < track.samples.size(); ++i) {
        ShotFrame frame;
        frame.number = first + int64_t(i);
        if (wanted && (frame.number < wanted->first || frame.number > wanted->last)) continue;
        SampleInTime found;
        found.exact = &track.samples[i];
        add(track, found, frame, camera);
    }
    return camera;
}

struct Numbered {
    int64_t number = 0;
    Moment moment;
};

// What a track with frame numbers or timecodes counts, gaps included.
std::vector<Numbered> countFrames(const TrackTimeline& timeline, int64_t first) {
    std::vector<Numbered> counted;
    const auto moments = timeline.frames();
    std::optional<int64_t> start;
    int64_t day = 0, before = 0;
    for (const auto& moment : moments) {
        if (moment.frame) {
            counted.push_back({*moment.frame, moment});
            continue;
        }
        if (!moment.timecode) continue;
        int64_t label = frameNumber(*moment.timecode, timeline.rate());
        if (start && label + day < before)
            day += framesInADay(timeline.rate(), moment.timecode->drop_frame);
        label += day;
        before = label;
        if (!start) start = label;
        counted.push_back({first + label - *start, moment});
    }
    return counted;
}

Moment betweenMoments(const TrackTimeline& timeline, const Numbered& known, int64_t number) {
    Moment moment;
    if (known.moment.frame) {
        moment.frame = number;
        return moment;
    }
    const auto& timecode = *known.moment.timecode;
    moment.timecode = timecodeOf(frameNumber(timecode, timeline.rate()) + number - known.number,
                                 timeline.rate(), timecode.drop_frame);
    moment.rate = timeline.rate();
    return moment;
}

void checkWanted(const LensTrack& track, const FrameRange& wanted,
                 const std::vector<Numbered>& counted) {
    if (wanted.first > counted.back().number || wanted.last < counted.front().number)
        throw InputError(track.path.string(),
                         "has frames " + std::to_string(counted.front().number) + " to " +
                             std::to_string(counted.back().number) + ", none of --frames " +
                             std::to_string(wanted.first) + "-" + std::to_string(wanted.last));
}

}  // namespace

ShotCamera shotCamera(const LensTrack& track, std::optional<FrameRange> wanted,
                      std::optional<int64_t> first_frame) {
    checkPoses(track);
    const int64_t first = first_frame.value_or(kFirstFrame);
    const TrackTimeline timeline(track);
    const auto counted = countFrames(timeline, first);
    if (counted.empty()) return sampleBySample(track, wanted, first);
    if (wanted) checkWanted(track, *wanted, counted);
    ShotCamera camera;
    if (!counted.front().moment.frame && !first_frame)
        camera.notes.push_back("frames are counted from " + std::to_string(first) + " at " +
                               toString(*counted.front().moment.timecode) +
                               " (--first-frame counts from another)");
    const int64_t begin = wanted ? wanted->first : counted.front().number;
    const int64_t end = wanted ? wanted->last : counted.back().number;
    if (end - begin >= kMostFrames)
        throw InputError(track.path.string(),
                         "goes from frame " + std::to_string(begin) + " to frame " +
                             std::to_string(end) +
                             ", more than a shot has: correct the numbers, or give --frames");
    size_t next = 0;
    for (int64_t number = begin; number <= end; ++number) {
        while (next < counted.size() && counted[next].number < number) ++next;
        const bool has = next < counted.size() && counted[next].number == number;
        const Moment moment =
            has ? counted[next].moment : betweenMoments(timeline, counted.front(), number);
        ShotFrame frame;
        frame.number = number;
        const auto found = timeline.at(moment);
        const LensSample* sample = found.sample();
        frame.timecode = moment.timecode ? moment.timecode
                         : sample        ? sample->timecode
                                         : std::nullopt;
        frame.rate = timeline.hasTimecodes() ? std::optional(timeline.rate())
                     : sample                ? sample->frame_rate
                                             : std::nullopt;
        add(track, found, std::move(frame), camera);
    }
    if (camera.frames.empty())
        throw InputError(track.path.string(),
                         "none of the frames wanted can be made: " + camera.missing.front().why);
    return camera;
}

ShotCamera shotCamera(const LensTrack& track, const std::vector<PlateFile>& shot) {
    checkPoses(track);
    const auto unsaid = shot.empty() ? std::nullopt : shot.front().frame_rate;
    const TrackTimeline timeline(track, unsaid);
    ShotCamera camera;
    for (const auto& file : shot) {
        const auto number = frameOf(file);
        Moment moment{file.timecode(), file.frame_rate, number};
        if (!number && shot.size() > 1)
            throw InputError(file.path.string(), "has no frame number in its name");
        if (!(moment.timecode && timeline.hasTimecodes()) &&
            !(number && timeline.hasFrameNumbers()))
            throw InputError(file.path.string(),
                             "can't be tied to " + track.path.string() +
                                 ": they have neither timecode nor frame numbers in common");
        ShotFrame frame;
        frame.number = number.value_or(kFirstFrame);
        frame.timecode = file.timecode();
        frame.rate = file.frame_rate ? file.frame_rate : std::optional(timeline.rate());
        add(track, timeline.at(moment), std::move(frame), camera);
    }
    if (camera.frames.empty())
        throw InputError(track.path.string(),
                         "covers none of the recorded frames: " + camera.missing.front().why);
    return camera;
}

}  // namespace plateloom::io
