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

namespace {

// Labels as ST 12-1 counts them, one after the other: a frame more, with the carries, and in
// drop-frame without the first labels of each minute that is not a tenth. Nothing of it is the
// arithmetic that the program does.
class LabelCount {
public:
    LabelCount(int counting, bool drop_frame)
        : counting_(counting), dropped_(drop_frame ? counting / 15 : 0) {
        label.drop_frame = drop_frame;
    }
    void next() {
        if (++label.frames < counting_) return;
        label.frames = 0;
        if (++label.seconds < 60) return;
        label.seconds = 0;
        if (++label.minutes == 60) {
            label.minutes = 0;
            label.hours = (label.hours + 1) % 24;
        }
        if (label.minutes % 10 != 0) label.frames = dropped_;
    }
    Timecode label;

private:
    int counting_, dropped_;
};

}  // namespace

TEST_CASE("Over 24 hours every frame number is its label and back, at every rate (ST 12-1)") {
    struct Case {
        const char* name;
        FrameRate rate;
        bool drop_frame;
        int64_t an_hour, a_day;
    };
    const Case rates[] = {
        {"23.976", {24000, 1001}, false, 86400, 2073600},
        {"24", {24, 1}, false, 86400, 2073600},
        {"25", {25, 1}, false, 90000, 2160000},
        {"29.97", {30000, 1001}, false, 108000, 2592000},
        // 30 a second, less two labels in 54 minutes of each hour: 108,000 - 108.
        {"29.97 drop-frame", {30000, 1001}, true, 107892, 2589408},
        {"30", {30, 1}, false, 108000, 2592000},
        {"50", {50, 1}, false, 180000, 4320000},
        {"59.94", {60000, 1001}, false, 216000, 5184000},
        {"59.94 drop-frame", {60000, 1001}, true, 215784, 5178816},
        {"60", {60, 1}, false, 216000, 5184000},
    };
    for (const Case& c : rates) {
        INFO(c.name);
        LabelCount count(c.rate.counting(), c.drop_frame);
        int64_t wrong = 0, frame = 0;
        do {
            const Timecode& label = count.label;
            wrong += !exists(label, c.rate);
            wrong += frameNumber(label, c.rate) != frame;
            wrong += timecodeOf(frame, c.rate, c.drop_frame) != label;
            wrong += timecodeFromSmpteWord(smpteWord(label, c.rate), c.rate) != label;
            if (frame == c.an_hour) CHECK(label == Timecode{1, 0, 0, 0, c.drop_frame});
            count.next();
            ++frame;
        } while (count.label != Timecode{0, 0, 0, 0, c.drop_frame} && wrong == 0 &&
                 frame <= c.a_day);
        CHECK(wrong == 0);
        CHECK(frame == c.a_day);
        CHECK(framesInADay(c.rate, c.drop_frame) == c.a_day);
        // The day after, and the day before.
        CHECK(timecodeOf(c.a_day + 5, c.rate, c.drop_frame) == timecodeOf(5, c.rate, c.drop_frame));
        CHECK(timecodeOf(-1, c.rate, c.drop_frame) ==
              Timecode{23, 59, 59, c.rate.counting() - 1, c.drop_frame});
    }
}

TEST_CASE("Labels that drop-frame leaves out do not exist, all others do (ST 12-1)") {
    for (const FrameRate& rate : {k2997, k5994}) {
        const int dropped = rate == k2997 ? 2 : 4;
        int64_t left_out = 0;
        for (int hour = 0; hour < 24; ++hour)
            for (int minute = 0; minute < 60; ++minute)
                for (int frame = 0; frame < rate.counting(); ++frame) {
                    const bool there = exists({hour, minute, 0, frame, true}, rate);
                    left_out += !there;
                    CHECK(there == !(minute % 10 != 0 && frame < dropped));
                }
        // 54 minutes of each hour.
        CHECK(left_out == 24 * 54 * dropped);
        CHECK(exists({1, 1, 1, 0, true}, rate));
        CHECK(exists({1, 1, 0, 0, false}, rate));
    }
}
