// SMPTE ST 12-1 timecode: hours, minutes, seconds, frames, drop-frame understood.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace plateloom::io {

/// Frames a second as a fraction, e.g. 24000/1001. The timecode counts in the rounded-up whole
/// rate.
struct FrameRate {
    int num = 24, denom = 1;
    [[nodiscard]] int counting() const { return (num + denom - 1) / denom; }
    [[nodiscard]] double perSecond() const { return double(num) / denom; }
    bool operator==(const FrameRate&) const = default;
};

struct Timecode {
    int hours = 0, minutes = 0, seconds = 0, frames = 0;
    bool drop_frame = false;
    bool operator==(const Timecode&) const = default;
};

/// Frames since 00:00:00:00. Drop-frame leaves out labels 0 and 1 (0 to 3 at 60) of each minute
/// that is not a tenth: one hour of 29.97 drop-frame is 107,892 frames (ST 12-1).
[[nodiscard]] int64_t frameNumber(const Timecode& timecode, const FrameRate& rate);
[[nodiscard]] Timecode timecodeOf(int64_t frame_number, const FrameRate& rate, bool drop_frame);

/// "01:02:03:04", or "01:02:03;04" for drop-frame. Anything else is nullopt.
[[nodiscard]] std::optional<Timecode> parseTimecode(std::string_view text);
[[nodiscard]] std::string toString(const Timecode& timecode);

/// The two 32-bit words of an OpenEXR `timeCode` attribute (TV60 packing of ST 12-1's binary-coded
/// decimals): the time word and, kept as it was, the user bits.
[[nodiscard]] Timecode timecodeFromSmpteWord(uint32_t time_and_flags);
[[nodiscard]] uint32_t smpteWord(const Timecode& timecode);

}  // namespace plateloom::io
