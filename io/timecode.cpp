#include "io/timecode.h"

#include <array>
#include <cassert>
#include <cmath>
#include <cstdio>

namespace plateloom::io {

namespace {

// TV60 packing, as OpenEXR documents it for its `timeCode` attribute (ImfTimeCode.h).
struct Decimal {
    int unit_bit, unit_bits, tens_bit, tens_bits;
};
constexpr Decimal kFrames{0, 4, 4, 2}, kSeconds{8, 4, 12, 3}, kMinutes{16, 4, 20, 3},
    kHours{24, 4, 28, 2};
constexpr uint32_t kDropBit = 1u << 6, kFieldMarkBit = 1u << 15;

int unpack(uint32_t word, const Decimal& d) {
    const auto bits = [&](int at, int count) { return int((word >> at) & ((1u << count) - 1)); };
    return bits(d.unit_bit, d.unit_bits) + 10 * bits(d.tens_bit, d.tens_bits);
}

uint32_t pack(int value, const Decimal& d) {
    assert(value >= 0 && value / 10 < (1 << d.tens_bits));
    return (uint32_t(value % 10) << d.unit_bit) | (uint32_t(value / 10) << d.tens_bit);
}

// Labels left out of a minute that is not a tenth.
int droppedPerMinute(const FrameRate& rate, bool drop_frame) {
    return drop_frame && rate.counting() % 30 == 0 ? rate.counting() / 15 : 0;
}

constexpr int kMinutesInADay = 24 * 60;

}  // namespace

std::optional<FrameRate> frameRateOf(double frames_per_second) {
    if (!(frames_per_second > 0) || frames_per_second > 1000) return std::nullopt;
    const double whole = std::round(frames_per_second);
    if (whole >= 1 && std::abs(frames_per_second - whole) < 5e-4) return FrameRate{int(whole), 1};
    const double up = std::ceil(frames_per_second);
    // 23.98, 23.976 and 23.97602 are all 24000/1001.
    if (std::abs(frames_per_second - up * 1000 / 1001) < 6e-3)
        return FrameRate{int(up) * 1000, 1001};
    const int thousandths = int(std::round(frames_per_second * 1000));
    return thousandths > 0 ? std::optional(FrameRate{thousandths, 1000}) : std::nullopt;
}

bool exists(const Timecode& t, const FrameRate& rate) {
    if (t.hours < 0 || t.hours > 23 || t.minutes < 0 || t.minutes > 59 || t.seconds < 0 ||
        t.seconds > 59 || t.frames < 0 || t.frames >= rate.counting())
        return false;
    const bool drops_here = t.minutes % 10 != 0 && t.seconds == 0;
    return !(drops_here && t.frames < droppedPerMinute(rate, t.drop_frame));
}

int64_t framesInADay(const FrameRate& rate, bool drop_frame) {
    const int64_t drops = droppedPerMinute(rate, drop_frame);
    return int64_t(kMinutesInADay) * 60 * rate.counting() -
           drops * (kMinutesInADay - kMinutesInADay / 10);
}

int64_t frameNumber(const Timecode& t, const FrameRate& rate) {
    const int64_t minutes = int64_t(t.hours) * 60 + t.minutes;
    const int64_t label = (minutes * 60 + t.seconds) * rate.counting() + t.frames;
    return label - droppedPerMinute(rate, t.drop_frame) * (minutes - minutes / 10);
}

Timecode timecodeOf(int64_t frame_number, const FrameRate& rate, bool drop_frame) {
    const int counting = rate.counting();
    const int drops = droppedPerMinute(rate, drop_frame);
    const int64_t day = framesInADay(rate, drop_frame);
    int64_t label = frame_number % day;
    if (label < 0) label += day;

    if (drops > 0) {
        // In ten minutes the first minute is whole and nine are short by `drops`.
        const int64_t whole = int64_t(counting) * 60;
        const int64_t ten = 10 * whole - 9 * drops;
        const int64_t tens = label / ten, rest = label % ten;
        const int64_t minutes_past = rest < whole ? 0 : 1 + (rest - whole) / (whole - drops);
        label += drops * (9 * tens + minutes_past);
    }
    Timecode t;
    t.drop_frame = drop_frame;
    t.frames = int(label % counting);
    t.seconds = int(label / counting % 60);
    t.minutes = int(label / counting / 60 % 60);
    t.hours = int(label / counting / 3600);
    return t;
}

std::optional<Timecode> parseTimecode(std::string_view text) {
    std::array<int, 4> value{};
    size_t at = 0;
    bool drop_frame = false;
    for (size_t part = 0; part < value.size(); ++part) {
        const size_t start = at;
        while (at < text.size() && text[at] >= '0' && text[at] <= '9' && at - start < 3)
            value[part] = value[part] * 10 + (text[at++] - '0');
        const size_t digits = at - start;
        if (digits == 0 || (part < 3 && digits > 2)) return std::nullopt;
        if (part == 3) break;
        if (at == text.size()) return std::nullopt;
        const char separator = text[at++];
        drop_frame = part == 2 && separator == ';';
        if (separator != ':' && !drop_frame) return std::nullopt;
    }
    constexpr int kMostFrames = 120;  // OpenTrackIO's limit
    if (at != text.size() || value[0] > 23 || value[1] > 59 || value[2] > 59 ||
        value[3] >= kMostFrames)
        return std::nullopt;
    return Timecode{value[0], value[1], value[2], value[3], drop_frame};
}

std::string toString(const Timecode& t) {
    char text[64];
    std::snprintf(text, sizeof text, "%02d:%02d:%02d%c%02d", t.hours, t.minutes, t.seconds,
                  t.drop_frame ? ';' : ':', t.frames);
    return text;
}

Timecode timecodeFromSmpteWord(uint32_t word, std::optional<FrameRate> rate) {
    Timecode t{unpack(word, kHours), unpack(word, kMinutes), unpack(word, kSeconds),
               unpack(word, kFrames), (word & kDropBit) != 0};
    if (rate && rate->counting() > 30) {
        const int pairs = (rate->counting() + 1) / 2;
        if (t.frames < pairs) t.frames = 2 * t.frames + ((word & kFieldMarkBit) ? 1 : 0);
    }
    return t;
}

uint32_t smpteWord(const Timecode& t, std::optional<FrameRate> rate) {
    const bool pairs = rate && rate->counting() > 30;
    return pack(pairs ? t.frames / 2 : t.frames, kFrames) | pack(t.seconds, kSeconds) |
           pack(t.minutes, kMinutes) | pack(t.hours, kHours) | (t.drop_frame ? kDropBit : 0) |
           (pairs && t.frames % 2 ? kFieldMarkBit : 0);
}

}  // namespace plateloom::io
