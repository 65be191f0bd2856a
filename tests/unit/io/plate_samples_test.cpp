#include "io/plate_samples.h"

#include <catch2/catch.hpp>

#include "io/input_error.h"

using namespace plateloom;
using io::PlateSamples;

namespace {

constexpr io::FrameRate k24{24, 1};

io::PlateFile plate(const std::string& name, std::optional<int> frame = {}) {
    io::PlateFile file;
    file.path = std::filesystem::path("folder") / name;
    file.clip = file.path.stem().string();
    file.frame_rate = k24;
    if (frame) file.timecode_word = io::smpteWord(io::timecodeOf(*frame, k24, false), k24);
    return file;
}

io::LensSample sample(double focal_mm, std::optional<int> frame = {}) {
    io::LensSample s;
    s.lens.focal_mm = focal_mm;
    s.has_focal = true;
    s.frame_rate = k24;
    if (frame) s.timecode = io::timecodeOf(*frame, k24, false);
    return s;
}

io::LensTrack track(std::vector<io::LensSample> samples) {
    io::LensTrack t;
    t.path = "track.jsonl";
    t.samples = std::move(samples);
    for (size_t i = 0; i < t.samples.size(); ++i) t.samples[i].number = int(i) + 1;
    return t;
}

std::vector<double> focals(const PlateSamples& tied) {
    std::vector<double> out;
    for (const auto* s : tied.sample) out.push_back(s->lens.focal_mm);
    return out;
}

}  // namespace

TEST_CASE("Stills out of a clip's many samples are tied by timecode, in any order") {
    std::vector<io::LensSample> samples;
    for (int i = 0; i < 1000; ++i) samples.push_back(sample(20 + i, 5000 - i));
    const std::vector tracks{track(samples)};
    const auto tied = io::tieSamples({plate("b.exr", 4990), plate("a.exr", 5000)}, tracks);
    CHECK(tied.tied_by == PlateSamples::TiedBy::timecode);
    CHECK(focals(tied) == std::vector<double>{30, 20});
}

TEST_CASE("A track at twice the plates' rate is tied at the frames that both have") {
    io::LensSample even = sample(20), odd = sample(21);
    even.frame_rate = odd.frame_rate = io::FrameRate{48, 1};
    even.timecode = io::Timecode{1, 0, 0, 10, false};
    odd.timecode = io::Timecode{1, 0, 0, 11, false};
    const std::vector tracks{track({even, odd})};
    CHECK(focals(io::tieSamples({plate("a.exr", 3600 * 24 + 5)}, tracks)) ==
          std::vector<double>{20});
}

TEST_CASE("Two samples at one timecode are fine when they say the same, refused when not") {
    const std::vector same{track({sample(20, 7), sample(20, 7)})};
    CHECK(focals(io::tieSamples({plate("a.exr", 7)}, same)) == std::vector<double>{20});
    const std::vector other{track({sample(20, 7), sample(35, 7), sample(50, 9)})};
    CHECK_THROWS_AS(io::tieSamples({plate("a.exr", 7)}, other), io::InputError);
    CHECK(focals(io::tieSamples({plate("a.exr", 9)}, other)) == std::vector<double>{50});
}

TEST_CASE("Cameras that rolled together are told apart by the clip that their samples name") {
    auto a = sample(20, 7), b = sample(35, 7);
    a.clip = "A001";
    b.clip = "b001.mov";
    const std::vector tracks{track({a}), track({b})};
    const auto tied = io::tieSamples({plate("B001.exr", 7), plate("a001.exr", 7)}, tracks);
    CHECK(focals(tied) == std::vector<double>{35, 20});
}

TEST_CASE("A track whose timecodes meet no plate is the wrong track, even when the counts agree") {
    const std::vector tracks{track({sample(20, 7), sample(20, 8)})};
    CHECK_THROWS_AS(io::tieSamples({plate("a.exr", 107), plate("b.exr", 108)}, tracks),
                    io::InputError);
}

TEST_CASE("Without timecodes the file or clip names tie, whatever their case and extension") {
    auto a = sample(20), b = sample(35);
    a.file = "A.EXR";
    b.clip = std::string("b");
    const std::vector tracks{track({a, b, sample(99)})};
    const auto tied = io::tieSamples({plate("b.exr"), plate("a.exr")}, tracks);
    CHECK(tied.tied_by == PlateSamples::TiedBy::name);
    CHECK(focals(tied) == std::vector<double>{35, 20});
}

TEST_CASE("Frame numbers tell the samples of one clip apart") {
    auto a = sample(20), b = sample(35);
    a.frame = 1001;
    b.frame = 1002;
    const std::vector tracks{track({a, b, sample(99)})};
    const auto tied = io::tieSamples({plate("bg.1002.exr"), plate("bg.1001.exr")}, tracks);
    CHECK(focals(tied) == std::vector<double>{35, 20});
}

TEST_CASE("Order ties only when the counts agree and nothing better is there") {
    const std::vector tracks{track({sample(20), sample(35)})};
    const auto tied = io::tieSamples({plate("a.exr"), plate("b.exr")}, tracks);
    CHECK(tied.tied_by == PlateSamples::TiedBy::order);
    CHECK(focals(tied) == std::vector<double>{20, 35});
    CHECK_THROWS_AS(io::tieSamples({plate("a.exr"), plate("b.exr"), plate("c.exr")}, tracks),
                    io::InputError);
}

TEST_CASE("One timecode on all of several plates is none") {
    const std::vector tracks{track({sample(20, 0), sample(35, 50)})};
    const auto tied = io::tieSamples({plate("a.exr", 0), plate("b.exr", 0)}, tracks);
    CHECK(tied.tied_by == PlateSamples::TiedBy::order);
}

TEST_CASE("Plates of several cameras at one moment are tied within their own camera's samples") {
    std::vector<io::LensSample> a, b;
    for (int i = 0; i < 50; ++i) {
        a.push_back(sample(20 + i, i));
        b.push_back(sample(120 + i, i));
        a.back().clip = "A001";
        b.back().clip = "B001";
    }
    const std::vector tracks{track(a), track(b)};
    const auto tied = io::tieSamples({plate("B001.exr", 7), plate("A001.exr", 7)}, tracks);
    CHECK(tied.tied_by == PlateSamples::TiedBy::timecode);
    CHECK(focals(tied) == std::vector<double>{127, 27});
    CHECK(tied.track == std::vector<int>{1, 0});
}

TEST_CASE("A single sample without time, place or name is a lens for all plates; a pose is not") {
    const std::vector lens{track({sample(20)})};
    const std::vector plates{plate("a.exr"), plate("b.exr"), plate("c.exr")};
    CHECK(io::tieSamples(plates, lens).tied_by == PlateSamples::TiedBy::only);
    auto posed = sample(20);
    posed.pose = calib::PanTiltRoll{1, 2, 3};
    const std::vector one{track({posed})};
    CHECK_THROWS_AS(io::tieSamples(plates, one), io::InputError);
}

TEST_CASE("A plate without timecode among others that have one needs a name in the track") {
    auto named = sample(35);
    named.file = "b.exr";
    const std::vector with{track({sample(20, 7), named})}, without{track({sample(20, 7)})};
    const std::vector plates{plate("a.exr", 7), plate("b.exr")};
    CHECK(focals(io::tieSamples(plates, with)) == std::vector<double>{20, 35});
    CHECK_THROWS_AS(io::tieSamples(plates, without), io::InputError);
}

TEST_CASE("A plate between two samples of a running track gets the lens between them") {
    std::vector<io::LensSample> samples;
    for (int i = 0; i < 100; ++i) {
        samples.push_back(sample(100 + i));
        samples.back().frame_rate = io::FrameRate{50, 1};
        samples.back().timecode = io::timecodeOf(3600 * 50 + i, {50, 1}, false);
    }
    const std::vector tracks{track(samples)};
    std::vector<io::PlateFile> plates;
    for (int i = 0; i < 24; ++i)
        plates.push_back(plate("a" + std::to_string(i) + ".exr", 3600 * 24 + i));
    const auto tied = io::tieSamples(plates, tracks);
    for (size_t i = 0; i < plates.size(); ++i)
        CHECK(tied.sample[i]->lens.focal_mm == Approx(100 + double(i) * 50 / 24));
    CHECK(tied.said == "24 plates tied to lens samples by timecode, 22 between two samples");
}

TEST_CASE("A plate in a gap of the track is refused, with the gap named") {
    std::vector<io::LensSample> samples;
    for (int i = 0; i < 48; ++i)
        if (i < 20 || i > 30) samples.push_back(sample(100 + i, i));
    const std::vector tracks{track(samples)};
    CHECK_THROWS_WITH(io::tieSamples({plate("a.exr", 19), plate("b.exr", 25)}, tracks),
                      Catch::Contains("b.exr") && Catch::Contains("00:00:01:01") &&
                          Catch::Contains("no sample between 00:00:00:19 and 00:00:01:07"));
    std::vector<io::LensSample> numbered;
    for (int i = 1001; i < 1100; ++i) {
        if (i > 1010 && i < 1020) continue;
        numbered.push_back(sample(double(i)));
        numbered.back().frame = i;
    }
    const std::vector by_number{track(numbered)};
    CHECK(focals(io::tieSamples({plate("bg.1003.exr"), plate("bg.1004.exr")}, by_number)) ==
          std::vector<double>{1003, 1004});
    CHECK_THROWS_WITH(io::tieSamples({plate("bg.1003.exr"), plate("bg.1015.exr")}, by_number),
                      Catch::Contains("bg.1015.exr") &&
                          Catch::Contains("no sample between frame 1010 and frame 1020"));
}

TEST_CASE("Labels count as written where a rate is wrong: stills at 25 in a track that says 24") {
    auto a = plate("a.exr", 3600 * 24 + 7), b = plate("b.exr", 3610 * 24 + 11);
    a.frame_rate = b.frame_rate = io::FrameRate{25, 1};
    const std::vector tracks{track({sample(20, 3600 * 24 + 7), sample(35, 3610 * 24 + 11)})};
    CHECK(focals(io::tieSamples({a, b}, tracks)) == std::vector<double>{20, 35});
}

TEST_CASE("A track at 25 that does not say so is tied label by label") {
    std::vector<io::LensSample> samples;
    for (int i = 0; i < 50; ++i) {
        samples.push_back(sample(100 + i));
        samples.back().frame_rate.reset();
        samples.back().timecode = io::timecodeOf(i, {25, 1}, false);
    }
    const std::vector tracks{track(samples)};
    auto last = plate("a.exr");
    last.frame_rate = io::FrameRate{25, 1};
    last.timecode_word = io::smpteWord({0, 0, 0, 24, false}, last.frame_rate);
    CHECK(focals(io::tieSamples({last}, tracks)) == std::vector<double>{124});
}
