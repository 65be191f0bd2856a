// Timecode against SMPTE ST 12-1's counts, the bit layout that OpenEXR documents for its `timeCode`
// attribute (TV60 packing, ImfTimeCode.h), and OpenImageIO's own reading of such words.
#include "io/timecode.h"

#include <OpenImageIO/imageio.h>
#include <catch2/catch.hpp>

using namespace plateloom::io;

namespace {
constexpr FrameRate k2997{30000, 1001}, k5994{60000, 1001};
}

TEST_CASE("One hour of 29.97 drop-frame is 107,892 frames, and a day 2,589,408 (ST 12-1)") {
    CHECK(frameNumber({1, 0, 0, 0, true}, k2997) == 107892);
    CHECK(frameNumber({0, 10, 0, 0, true}, k2997) == 17982);
    CHECK(framesInADay(k2997, true) == 2589408);
    CHECK(frameNumber({1, 0, 0, 0, true}, k5994) == 2 * 107892);
    CHECK(frameNumber({1, 0, 0, 0, false}, k2997) == 108000);
    // Against the clock a drop-frame hour is 3.6 ms off, a day 86.4 ms (ST 12-1's own figure of
    // about 2 frames a day).
    CHECK(std::abs(107892 * 1001.0 / 30000 - 3600) < 0.0037);
}

TEST_CASE("Minute labels in drop-frame begin at 2, tenth minutes at 0") {
    CHECK(toString(timecodeOf(1800, k2997, true)) == "00:01:00;02");
    CHECK(toString(timecodeOf(17982, k2997, true)) == "00:10:00;00");
    CHECK(toString(timecodeOf(1799, k2997, true)) == "00:00:59;29");
}

TEST_CASE("The time word is binary-coded decimals in OpenEXR's places") {
    CHECK(smpteWord({1, 2, 3, 4, false}) == 0x01020304u);
    CHECK(smpteWord({23, 59, 58, 29, true}) == 0x23595869u);  // 0x29 with bit 6 set
    CHECK(timecodeFromSmpteWord(0x23595869u) == Timecode{23, 59, 58, 29, true});
    // Colour frame, field mark and binary group flags are not part of the label.
    CHECK(timecodeFromSmpteWord(0x01020304u | 1u << 7 | 1u << 15 | 1u << 23 | 3u << 30) ==
          Timecode{1, 2, 3, 4, false});
}

TEST_CASE("At 60 frames a second the word counts pairs and the field mark tells which (ST 12-1)") {
    CHECK(smpteWord({1, 0, 0, 59, false}, FrameRate{60, 1}) == (0x01000029u | 1u << 15));
    CHECK(smpteWord({1, 0, 0, 58, false}, FrameRate{60, 1}) == 0x01000029u);
    CHECK(smpteWord({1, 0, 0, 49, false}, FrameRate{50, 1}) == (0x01000024u | 1u << 15));
    CHECK(timecodeFromSmpteWord(0x01000029u | 1u << 15, FrameRate{60, 1}).frames == 59);
}

TEST_CASE("OpenImageIO reads our word as the same label") {
    for (const Timecode& t : {Timecode{1, 2, 3, 4, false}, Timecode{23, 59, 58, 23, false},
                              Timecode{0, 0, 0, 0, false}, Timecode{10, 20, 30, 19, false}}) {
        OIIO::ImageSpec spec;
        const unsigned words[2] = {smpteWord(t), 0};
        spec.attribute("smpte:TimeCode", OIIO::TypeTimeCode, words);
        CHECK(OIIO::ImageSpec::metadata_val(*spec.find_attribute("smpte:TimeCode")) == toString(t));
    }
}
