// Lens samples by what a plate can be matched with: their timecode, or the names that they give.
#pragma once

#include <map>
#include <string>
#include <unordered_map>
#include <vector>

#include "io/lens_track.h"
#include "io/plate_file.h"

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
    /// samples at the same moment. Of several samples within one frame of a track, the earliest.
    [[nodiscard]] FoundSamples at(const Timecode& timecode, std::optional<FrameRate> rate) const;

    /// "01:00:00:00 to 01:00:20:04".
    [[nodiscard]] std::string range() const;

private:
    void add(const FoundSample& found);

    // One table a counting rate, nearly always one.
    std::map<int, std::unordered_map<int64_t, FoundSamples>> tables_;
    const LensSample* first_ = nullptr;
    const LensSample* last_ = nullptr;
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
