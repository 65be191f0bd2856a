// SMPTE ST 12-1 timecode: hours, minutes, seconds, frames, drop-frame understood.
//
// Labels count in the rounded-up whole rate: 24000/1001 counts 24 labels a second, 60000/1001
// counts
// 60. Labels are what is written on slates and in lens tracks; frame numbers are what arithmetic is
// done with; a day has 24 hours of labels and then starts again.
//
// Above 30 frames a second ST 12-1's word has no room for the label (two bits for the tens), so it
// counts pairs of frames and a flag (the field mark) tells the second of a pair from the first.
// `timecodeFromSmpteWord` and `smpteWord` do that when they are told the rate.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace plateloom::io {

/// Frames a second as a fraction, e.g. 24000/1001.
struct FrameRate {
    int num = 24, denom = 1;
    [[nodiscard]] int counting() const { return int((int64_t(num) + denom - 1) / denom); }
    [[nodiscard]] double perSecond() const { return double(num) / denom; }
    bool operator==(const FrameRate&) const = default;
};

/// "23.976", "29.97" and the like as they are meant (24000/1001, 30000/1001), whole rates as they
/// are; nullopt for what is below a thousandth or beyond 1000.
[[nodiscard]] std::optional<FrameRate> frameRateOf(double frames_per_second);

struct Timecode {
    int hours = 0, minutes = 0, seconds = 0, frames = 0;
    bool drop_frame = false;
    bool operator==(const Timecode&) const = default;
};

/// Whether such a label exists at this rate: hours below 24, minutes and seconds below 60, frames
/// below the counting rate, and not one of those that drop-frame leaves out.
[[nodiscard]] bool exists(const Timecode& timecode, const FrameRate& rate);

/// Frames since 00:00:00:00. Drop-frame leaves out labels 0 and 1 (0 to 3 at 60) of each minute
/// that is not a tenth: one hour of 29.97 drop-frame is 107,892 frames (ST 12-1). The flag has no
/// meaning at rates that do not count 30 or a multiple, and is ignored there.
[[nodiscard]] int64_t frameNumber(const Timecode& timecode, const FrameRate& rate);
/// The inverse, for any frame number: it wraps at 24 hours, also backwards.
[[nodiscard]] Timecode timecodeOf(int64_t frame_number, const FrameRate& rate, bool drop_frame);
[[nodiscard]] int64_t framesInADay(const FrameRate& rate, bool drop_frame);

/// "01:02:03:04", or "01:02:03;04" for drop-frame. Anything else is nullopt.
[[nodiscard]] std::optional<Timecode> parseTimecode(std::string_view text);
[[nodiscard]] std::string toString(const Timecode& timecode);

/// The time word of an OpenEXR `timeCode` attribute (TV60 packing of ST 12-1's binary-coded
/// decimals). With a rate above 30 the frames are pairs, unless there are more of them than there
/// are pairs in a second: then whoever wrote the word counted frames. Without a rate the field mark
/// is left alone and the frames are returned as they stand.
[[nodiscard]] Timecode timecodeFromSmpteWord(uint32_t time_and_flags,
                                             std::optional<FrameRate> rate = std::nullopt);
/// The inverse; flags other than drop-frame and the field mark are 0. Without a rate, frames of 40
/// and more have no place in the word.
[[nodiscard]] uint32_t smpteWord(const Timecode& timecode,
                                 std::optional<FrameRate> rate = std::nullopt);

}  // namespace plateloom::io
