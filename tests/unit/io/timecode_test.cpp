#include "io/timecode.h"

#include <catch2/catch.hpp>

using namespace plateloom::io;

namespace {
constexpr FrameRate k23976{24000, 1001}, k24{24, 1}, k25{25, 1}, k2997{30000, 1001}, k30{30, 1},
    k48{48, 1}, k50{50, 1}, k5994{60000, 1001}, k60{60, 1};
}

TEST_CASE("Every frame of a day has a label of its own that exists and leads back to it") {
    for (const FrameRate& rate : {k23976, k24, k25, k2997, k30, k48, k50, k5994, k60})
        for (const bool drop : {false, true}) {
            const int64_t day = framesInADay(rate, drop);
            for (int64_t frame = 0; frame < day; frame += 89) {  // 89 meets every kind of minute
                const Timecode label = timecodeOf(frame, rate, drop);
                REQUIRE(exists(label, rate));
                REQUIRE(frameNumber(label, rate) == frame);
            }
            CHECK(frameNumber(timecodeOf(day - 1, rate, drop), rate) == day - 1);
        }
}

TEST_CASE("Successive frames at a drop-frame minute skip labels 0 and 1, but not at a tenth") {
    const auto next = [](const Timecode& t, const FrameRate& rate) {
        return toString(timecodeOf(frameNumber(t, rate) + 1, rate, true));
    };
    CHECK(next({0, 0, 59, 29, true}, k2997) == "00:01:00;02");
    CHECK(next({0, 9, 59, 29, true}, k2997) == "00:10:00;00");
    CHECK(next({0, 0, 59, 59, true}, k5994) == "00:01:00;04");
    CHECK_FALSE(exists({0, 1, 0, 1, true}, k2997));
    CHECK(exists({0, 1, 0, 1, false}, k2997));
    CHECK_FALSE(exists({0, 1, 0, 3, true}, k5994));
}

TEST_CASE("A day ends at 24 hours and the next begins at zero, also backwards") {
    CHECK(toString(timecodeOf(framesInADay(k25, false), k25, false)) == "00:00:00:00");
    CHECK(toString(timecodeOf(-1, k25, false)) == "23:59:59:24");
    CHECK(toString(timecodeOf(-1, k2997, true)) == "23:59:59;29");
}

TEST_CASE("The drop-frame flag has no meaning at a rate that does not count in thirties") {
    CHECK(frameNumber({1, 0, 0, 0, true}, k24) == 24 * 3600);
    CHECK(exists({0, 1, 0, 0, true}, k25));
}

TEST_CASE("A timecode's text is read strictly") {
    CHECK(parseTimecode("01:02:03:04") == Timecode{1, 2, 3, 4, false});
    CHECK(parseTimecode("01:02:03;04") == Timecode{1, 2, 3, 4, true});
    for (const char* wrong :
         {"", "01:02:03", "24:00:00:00", "01:60:00:00", "01:02:60:00", "1:2:3:x", "01:02;03:04",
          "01:02:03:04 ", "-1:02:03:04", "01:02:03:120", "001:02:03:04", "01:02:03:"})
        CHECK_FALSE(parseTimecode(wrong));
}

TEST_CASE("A time word comes back from its label at every rate, in frame pairs above 30") {
    for (const FrameRate& rate : {k24, k25, k2997, k48, k50, k5994, k60})
        for (int frames = 0; frames < rate.counting(); ++frames) {
            const Timecode t{23, 59, 48, frames, rate == k2997};
            CHECK(timecodeFromSmpteWord(smpteWord(t, rate), rate) == t);
        }
    // Whoever wrote frames instead of pairs is believed where pairs can't be meant.
    CHECK(timecodeFromSmpteWord(smpteWord({1, 0, 0, 37, false}), k60).frames == 37);
    CHECK(timecodeFromSmpteWord(smpteWord({1, 0, 0, 17, false}), k60).frames == 34);
}

TEST_CASE("Decimal rates are understood as the fractions that they stand for") {
    CHECK(frameRateOf(23.976) == k23976);
    CHECK(frameRateOf(23.98) == k23976);
    CHECK(frameRateOf(29.97) == k2997);
    CHECK(frameRateOf(59.94) == k5994);
    CHECK(frameRateOf(24) == k24);
    CHECK(frameRateOf(12.5) == FrameRate{12500, 1000});
    CHECK_FALSE(frameRateOf(0));
    CHECK_FALSE(frameRateOf(-24));
    CHECK_FALSE(frameRateOf(0.0004));  // would round to 0 frames a second
    CHECK(frameRateOf(0.001)->counting() == 1);
}
