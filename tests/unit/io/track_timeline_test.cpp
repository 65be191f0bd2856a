#include "io/track_timeline.h"

#include <catch2/catch.hpp>

#include "io/input_error.h"

using namespace plateloom;
using io::FrameRate;
using io::Timecode;
using io::TrackTimeline;

namespace {

constexpr FrameRate k24{24, 1}, k50{50, 1}, k2997{30000, 1001};

io::LensSample sampleAt(const Timecode& timecode, const FrameRate& rate, double focal_mm) {
    io::LensSample s;
    s.timecode = timecode;
    s.frame_rate = rate;
    s.lens.focal_mm = focal_mm;
    s.has_focal = true;
    return s;
}

io::LensTrack trackOf(std::vector<io::LensSample> samples) {
    io::LensTrack track;
    track.path = "shot.jsonl";
    track.samples = std::move(samples);
    for (size_t i = 0; i < track.samples.size(); ++i) track.samples[i].number = int(i) + 1;
    return track;
}

// `count` samples from `first` on, one a label; the focal length counts them.
io::LensTrack running(const Timecode& first, const FrameRate& rate, int count) {
    std::vector<io::LensSample> samples;
    const int64_t start = frameNumber(first, rate);
    for (int i = 0; i < count; ++i)
        samples.push_back(sampleAt(timecodeOf(start + i, rate, first.drop_frame), rate, 100 + i));
    return trackOf(samples);
}

double focalAt(const TrackTimeline& timeline, const Timecode& timecode, const FrameRate& rate) {
    const auto found = timeline.at({timecode, rate, {}});
    return found.sample() ? found.sample()->lens.focal_mm : -1;
}

std::string gapAt(const TrackTimeline& timeline, const Timecode& timecode, const FrameRate& rate) {
    const auto found = timeline.at({timecode, rate, {}});
    return found.gap ? found.gap->said() : "";
}

}  // namespace

TEST_CASE("A moment with a sample gets that sample itself") {
    const auto track = running({1, 0, 0, 0, false}, k24, 48);
    const TrackTimeline timeline(track);
    const auto found = timeline.at({Timecode{1, 0, 1, 5, false}, k24, {}});
    CHECK(found.exact == &track.samples[29]);
}

TEST_CASE("A track at an unrelated rate serves the moments between its samples") {
    const auto track = running({1, 0, 0, 0, false}, k50, 100);
    const TrackTimeline timeline(track);
    for (int frame = 0; frame < 24; ++frame)
        CHECK(focalAt(timeline, {1, 0, 0, frame, false}, k24) ==
              Approx(100 + frame * 50.0 / 24).epsilon(1e-9));
    const auto between = timeline.at({Timecode{1, 0, 0, 1, false}, k24, {}});
    REQUIRE(between.between);
    CHECK(*between.between->timecode == Timecode{1, 0, 0, 1, false});
    CHECK(between.between->number == 3);
}

TEST_CASE("A gap is named and not bridged, and nothing is extrapolated") {
    auto track = running({1, 0, 0, 0, false}, k24, 48);
    track.samples.erase(track.samples.begin() + 11, track.samples.begin() + 20);
    const TrackTimeline timeline(track);
    CHECK(gapAt(timeline, {1, 0, 0, 15, false}, k24) ==
          "no sample between 01:00:00:10 and 01:00:00:20");
    CHECK(gapAt(timeline, {0, 59, 59, 23, false}, k24) == "the track begins at 01:00:00:00");
    CHECK(gapAt(timeline, {1, 0, 2, 0, false}, k24) == "the track ends at 01:00:01:23");
    REQUIRE(timeline.gaps().size() == 1);
    CHECK(timeline.frames().size() == 39);
    // One missing sample is a gap as well: twice the usual interval.
    track.samples.erase(track.samples.begin() + 5);
    CHECK(gapAt(TrackTimeline(track), {1, 0, 0, 5, false}, k24) ==
          "no sample between 01:00:00:04 and 01:00:00:06");
}

TEST_CASE("Samples seconds apart are those of stills: there is nothing between them") {
    const auto track =
        trackOf({sampleAt({1, 0, 0, 0, false}, k24, 20), sampleAt({1, 0, 12, 0, false}, k24, 30),
                 sampleAt({1, 0, 24, 0, false}, k24, 40)});
    CHECK(gapAt(TrackTimeline(track), {1, 0, 6, 0, false}, k24) ==
          "no sample between 01:00:00:00 and 01:00:12:00");
}

TEST_CASE("A track runs on across midnight") {
    const auto track = running({23, 59, 59, 0, false}, k24, 48);
    const TrackTimeline timeline(track);
    CHECK(focalAt(timeline, {0, 0, 0, 5, false}, k24) == 129);
    CHECK(focalAt(timeline, {0, 0, 0, 0, false}, {48, 1}) == 124);
    CHECK(focalAt(timeline, {23, 59, 59, 47, false}, {48, 1}) == Approx(123.5));
    CHECK(gapAt(timeline, {0, 0, 1, 0, false}, k24) == "the track ends at 00:00:00:23");
    CHECK(gapAt(timeline, {23, 59, 58, 23, false}, k24) == "the track begins at 23:59:59:00");
    const auto frames = timeline.frames();
    REQUIRE(frames.size() == 48);
    CHECK(*frames.front().timecode == Timecode{23, 59, 59, 0, false});
    CHECK(*frames.back().timecode == Timecode{0, 0, 0, 23, false});
}

TEST_CASE("Labels that drop-frame leaves out are no gap, and no moment") {
    const auto track = running({1, 0, 58, 0, true}, k2997, 90);
    const TrackTimeline timeline(track);
    CHECK(timeline.gaps().empty());
    CHECK(timeline.frames().size() == 90);
    // At twice the rate, half-way from 01:00:59;29 to 01:01:00;02.
    CHECK(focalAt(timeline, {1, 0, 59, 59, true}, {60000, 1001}) == Approx(159.5));
    CHECK(focalAt(timeline, {1, 1, 0, 4, true}, {60000, 1001}) == Approx(160));
    CHECK(gapAt(timeline, {1, 1, 0, 1, true}, k2997).find("drop-frame") != std::string::npos);
    // A plate that forgot the flag still has its labels.
    CHECK(focalAt(timeline, {1, 1, 0, 2, false}, k2997) == 160);
}

TEST_CASE("Sub-frames divide their label") {
    std::vector<io::LensSample> samples;
    for (int i = 0; i < 40; ++i) {
        samples.push_back(sampleAt({1, 0, 0, i / 2, false}, k24, 100 + i));
        samples.back().sub_frame = i % 2;
    }
    const auto track = trackOf(samples);
    const TrackTimeline timeline(track);
    CHECK(focalAt(timeline, {1, 0, 0, 3, false}, k24) == 106);
    CHECK(focalAt(timeline, {1, 0, 0, 7, false}, {48, 1}) == 107);
    CHECK(timeline.frames().size() == 20);
    CHECK(timeline.frames(FrameRate{48, 1}).size() == 40);
}

TEST_CASE("Samples out of order are put in order; the same one twice is one") {
    auto track = running({1, 0, 0, 0, false}, k24, 10);
    std::swap(track.samples[2], track.samples[7]);
    track.samples.push_back(track.samples[4]);
    const TrackTimeline timeline(track);
    CHECK(timeline.frames().size() == 10);
    CHECK(focalAt(timeline, {1, 0, 0, 5, false}, {48, 1}) == Approx(102.5));
}

TEST_CASE("Two different samples at one time are refused where they are needed, with both named") {
    auto track = running({1, 0, 0, 0, false}, k24, 10);
    track.samples.push_back(sampleAt({1, 0, 0, 4, false}, k24, 77));
    track.samples.back().number = 11;
    const TrackTimeline timeline(track);
    CHECK(focalAt(timeline, {1, 0, 0, 2, false}, k24) == 102);
    CHECK_THROWS_AS(focalAt(timeline, {1, 0, 0, 4, false}, k24), io::InputError);
    CHECK_THROWS_WITH(focalAt(timeline, {1, 0, 0, 9, false}, {48, 1}),
                      Catch::Contains("sample 11") && Catch::Contains("sample 5"));
}

TEST_CASE("Nothing is blended across a change of clip, sensor or model direction") {
    const auto base = running({1, 0, 0, 0, false}, k24, 4);
    const auto said = [&](auto&& change) {
        auto track = base;
        for (size_t i = 2; i < 4; ++i) change(track.samples[i]);
        return gapAt(TrackTimeline(track), {1, 0, 0, 3, false}, {48, 1});
    };
    CHECK(said([](io::LensSample&) {}).empty());
    CHECK(said([](io::LensSample& s) { s.clip = "B"; }).find("clip") != std::string::npos);
    CHECK(said([](io::LensSample& s) { s.sensor_width_mm = 24; }).find("sensor") !=
          std::string::npos);
    CHECK(said([](io::LensSample& s) { s.has_distortion = true; }).find("lens data") !=
          std::string::npos);
}

TEST_CASE("Cameras that rolled together are taken apart") {
    auto track = running({1, 0, 0, 0, false}, k24, 10);
    auto other = running({1, 0, 0, 0, false}, k24, 10);
    for (auto& s : track.samples) s.clip = "A";
    for (auto& s : other.samples) {
        s.clip = "B";
        s.lens.focal_mm += 1000;
        track.samples.push_back(s);
    }
    const auto cameras = TrackTimeline::eachCamera(track);
    REQUIRE(cameras.size() == 2);
    CHECK(focalAt(cameras[1], {1, 0, 0, 5, false}, {48, 1}) == Approx(1102.5));
}

TEST_CASE("Without timecodes the frame numbers are the time") {
    io::LensTrack track;
    for (const int frame : {1001, 1003, 1005, 1015, 1017}) {
        io::LensSample s;
        s.frame = frame;
        s.lens.focal_mm = frame;
        track.samples.push_back(s);
    }
    const TrackTimeline timeline(track);
    CHECK(timeline.at({{}, {}, 1002}).sample()->lens.focal_mm == Approx(1002));
    REQUIRE(timeline.at({{}, {}, 1010}).gap);
    CHECK(timeline.at({{}, {}, 1010}).gap->said() == "no sample between frame 1005 and frame 1015");
    CHECK(timeline.frames().size() == 8);
    CHECK(timeline.at({Timecode{}, k24, {}}).gap->said() == "its samples have no timecodes");
}

TEST_CASE("A track that does not say its rate counts in one that has all its labels") {
    std::vector<io::LensSample> samples;
    for (int i = 0; i < 50; ++i) {
        samples.push_back(sampleAt({1, 0, i / 25, i % 25, false}, k24, i));
        samples.back().frame_rate.reset();
    }
    const auto track = trackOf(samples);
    CHECK(TrackTimeline(track).rate() == FrameRate{25, 1});
    CHECK(TrackTimeline(track).gaps().empty());
    CHECK(focalAt(TrackTimeline(track), {1, 0, 0, 49, false}, k50) == Approx(24.5));
}
