// A lens track in time: the lens (and the pose) of any moment that the track covers. At a sample's
// own moment that sample exactly; between two samples the lens between them (calib/lens_blend.h);
// nothing else: a gap in the track is named and never bridged, and nothing is extrapolated.
//
// Time is what timecode labels say, as in io/sample_index.h: hours, minutes, seconds and the share
// of a second that the frames are at the rate which they count in. So a track at 50 serves frames
// at 24, and one at 23.976 those at 24, label by label. Drop-frame tracks leave out what drop-frame
// leaves out; midnight may lie anywhere in the track. Sub-frames divide a label evenly, into as
// many parts as the track numbers. Samples without timecodes are ordered by their frame numbers.
//
// A gap is an interval of more than 1.5 times the track's usual (median) one, or of more than a
// second (24 frames): then the samples are those of single pictures. Neither is there anything
// between samples of different cameras, clips, sensors or directions of the distortion model.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "io/lens_track.h"

namespace plateloom::io {

/// When: a timecode, or a frame number as in file names. With both, the timecode counts where the
/// track has timecodes.
struct Moment {
    std::optional<Timecode> timecode;
    std::optional<FrameRate> rate;  ///< of the timecode; the track's own where it is not known
    std::optional<int64_t> frame;
};
[[nodiscard]] std::string toString(const Moment& moment);

/// Where there is no sample, in labels: after `from` (none: the moment is before the track begins)
/// and before `to` (none: it is after the track's end).
struct TrackGap {
    std::optional<Moment> from, to;
    std::string why;  ///< other than that samples are missing: "the clip changes"

    /// "no sample between 01:00:00:10 and 01:00:01:00", "the track begins at ...", "... ends at
    /// ...".
    [[nodiscard]] std::string said() const;
};

/// What a track says of a moment: exactly one of the three is set.
struct SampleInTime {
    const LensSample* exact = nullptr;  ///< in the track
    /// Has the moment's timecode and frame, no file name, and the line of the sample before it.
    std::optional<LensSample> between;
    std::optional<TrackGap> gap;

    [[nodiscard]] const LensSample* sample() const { return between ? &*between : exact; }
};

/// Points into the track, which must live as long.
class TrackTimeline {
public:
    /// `unsaid_rate` is what timecodes count in whose samples do not say it; without it the least
    /// usual rate that has all the track's labels.
    explicit TrackTimeline(const LensTrack& track,
                           std::optional<FrameRate> unsaid_rate = std::nullopt);

    /// A track of several cameras or clips taken apart, in order of appearance.
    [[nodiscard]] static std::vector<TrackTimeline> eachCamera(
        const LensTrack& track, std::optional<FrameRate> unsaid_rate = std::nullopt);

    /// Throws InputError where the moment needs a sample that another contradicts: two different
    /// ones at one time. (The same one twice is one.)
    [[nodiscard]] SampleInTime at(const Moment& moment) const;

    /// The track's frames, in order: each label, or frame number, that at() has an answer for. At
    /// its own rate, or at another.
    [[nodiscard]] std::vector<Moment> frames(std::optional<FrameRate> rate = std::nullopt) const;

    /// Gaps within the track.
    [[nodiscard]] std::vector<TrackGap> gaps() const;

    [[nodiscard]] bool hasTimecodes() const { return !by_time_.keys.empty(); }
    [[nodiscard]] bool hasFrameNumbers() const { return !by_frame_.keys.empty(); }
    /// What the timecodes count in.
    [[nodiscard]] const FrameRate& rate() const { return rate_; }

private:
    struct Key {
        double at = 0;  // seconds since midnight of the first sample's day, or frame number
        const LensSample* sample = nullptr;
        const LensSample* rival = nullptr;  // says something else at the same time
    };
    struct Axis {
        std::vector<Key> keys;  // in order
        double longest_bridged = 0;
    };

    TrackTimeline(const LensTrack& track, const std::vector<const LensSample*>& samples,
                  std::optional<FrameRate> unsaid_rate);
    void readRates(const std::vector<const LensSample*>& samples,
                   std::optional<FrameRate> unsaid_rate);
    [[nodiscard]] Axis axisOf(std::vector<Key> keys, double longest_bridged) const;
    [[nodiscard]] double secondsOf(const Timecode& timecode, int counting) const;
    [[nodiscard]] double day_s() const;
    void startAfterLongestHole(std::vector<Key>* keys) const;
    [[nodiscard]] SampleInTime find(const Axis& axis, double at, double tolerance,
                                    const Moment& moment) const;
    [[nodiscard]] std::optional<TrackGap> gapAfter(const Axis& axis, size_t key) const;
    [[nodiscard]] Moment momentOf(const Key& key) const;
    [[nodiscard]] std::vector<Moment> labels(const FrameRate& rate) const;
    [[nodiscard]] std::vector<Moment> frameNumbers() const;

    const LensTrack* track_;
    FrameRate rate_;
    bool drop_frame_ = false;
    int sub_frames_ = 1;
    Axis by_time_, by_frame_;
};

}  // namespace plateloom::io
