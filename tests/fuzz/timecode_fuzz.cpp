// Labels as text, and the word of ST 12-1: the first bytes say rate and flags.
#include "io/timecode.h"

#include <cmath>
#include <cstring>

#include "tests/fuzz/fuzz_target.h"

PLATELOOM_FUZZ_TARGET(timecode) {
    using namespace plateloom;
    if (bytes.size() < 12) return;
    uint32_t word = 0;
    double per_second = 0;
    std::memcpy(&word, bytes.data(), 4);
    std::memcpy(&per_second, bytes.data() + 4, 8);
    static constexpr io::FrameRate kRates[] = {{24, 1}, {24000, 1001}, {25, 1},       {30000, 1001},
                                               {30, 1}, {50, 1},       {60000, 1001}, {120, 1}};
    const io::FrameRate rate =
        io::frameRateOf(per_second).value_or(kRates[uint8_t(bytes[4]) % std::size(kRates)]);
    fuzz::holds(rate.counting() >= 1 && std::isfinite(rate.perSecond()), "a rate is above 0");

    if (const auto label = io::parseTimecode(bytes.substr(12))) {
        fuzz::holds(io::parseTimecode(io::toString(*label)) == label, "a label is read as written");
        if (io::exists(*label, rate))
            fuzz::holds(
                io::timecodeOf(io::frameNumber(*label, rate), rate, label->drop_frame) == *label ||
                    (label->drop_frame && rate.counting() % 30 != 0),
                "a label that exists is that of its frame");
    }
    for (const auto& counted : {std::optional<io::FrameRate>(), std::optional(rate)}) {
        const auto label = io::timecodeFromSmpteWord(word, counted);
        if (counted && io::exists(label, rate) && rate.counting() <= 60)
            fuzz::holds(io::timecodeFromSmpteWord(io::smpteWord(label, counted), counted) == label,
                        "a word is read as written");
        (void)io::frameNumber(label, rate);
        (void)io::toString(label);
    }
}
