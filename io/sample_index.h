// Lens samples by what a plate can be matched with: their timecode, or the names that they give.
#pragma once

#include <map>
#include <string>
#include <unordered_map>
#include <vector>

#include "io/lens_track.h"
#include "io/plate_file.h"
#include "io/track_timeline.h"

namespace plateloom::io {

/// A sample and the track that it is in.
struct FoundSample {
    const LensSample* sample = nullptr;
    int track = 0;
};
using FoundSamples = std::vector<FoundSample>;

/// Frames since midnight, drop-frame or not: one number for each label.
[[nodiscard]] int64_t labelNumber(const Timecode& timecode, int counting);

/// Points into `tracks`, which must live as long.
class TimecodeIndex {
public:
    explicit TimecodeIndex(const std::vector<LensTrack>& tracks);

    [[nodiscard]] bool empty() const { return tables_.empty(); }

    /// Samples at a plate's label. Where one of the two rates counts a multiple of the other, the
    /// samples at the same moment, if there are any. Of several samples within one frame of a
    /// track, the earliest. A track that does not say its rate counts as the plate does. At
    /// unrelated rates the same label is another moment: there is nothing then, unless labels are
    /// taken `as_written` (for whoever knows that one of the rates is wrong).
    [[nodiscard]] FoundSamples at(const Timecode& timecode, std::optional<FrameRate> rate,
                                  bool as_written = false) const;

    /// "01:00:00:00 to 01:00:20:04".
    [[nodiscard]] std::string range() const;

private:
    void add(const FoundSample& found);

    // One table a counting rate, nearly always one.
    std::map<int, std::unordered_map<int64_t, FoundSamples>> tables_;
    const LensSample* first_ = nullptr;
    const LensSample* last_ = nullptr;
};

/// What lies between samples; see io/track_timeline.h. Points into `tracks`, which must live as
/// long.
class TimelineIndex {
public:
    TimelineIndex(const std::vector<LensTrack>& tracks, std::optional<FrameRate> unsaid_rate);

    struct Found {
        struct Sample {
            LensSample sample;
            int track = 0;
        };
        std::vector<Sample> samples;  ///< one of each camera that was recorded at the moment
        std::optional<TrackGap> gap;  ///< why there is none: the gap of a track that goes on after
        int gap_track = 0;
    };
    [[nodiscard]] Found at(const Moment& moment) const;

private:
    struct Camera {
        TrackTimeline timeline;
        int track = 0;
    };
    std::vector<Camera> cameras_;
};

/// By file and clip, with and without extension, in any case.
class NameIndex {
public:
    explicit NameIndex(const std::vector<LensTrack>& tracks);

    /// Samples of the most telling of the plate's names that any sample knows: its file's, its
    /// file's without extension, its clip's.
    [[nodiscard]] const FoundSamples& of(const PlateFile& plate) const;

private:
    std::unordered_map<std::string, FoundSamples> table_;
};

}  // namespace plateloom::io
