#include "stitch/check/shoot_record.h"

#include <algorithm>
#include <catch2/catch.hpp>

#include "calib/focus.h"
#include "stitch/plates/plate_set.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

io::PlateFile plateFile(const std::string& name, std::optional<io::Timecode> timecode = {}) {
    io::PlateFile file;
    file.path = "/shoot/" + name;
    file.width = 640;
    file.height = 360;
    file.frame_rate = io::FrameRate{24, 1};
    if (timecode)
        file.timecode_word = uint32_t(timecode->frames % 10 | timecode->frames / 10 << 4 |
                                      timecode->seconds % 10 << 8 | timecode->seconds / 10 << 12 |
                                      timecode->minutes % 10 << 16 | timecode->minutes / 10 << 20 |
                                      timecode->hours % 10 << 24 | timecode->hours / 10 << 28);
    return file;
}

io::Timecode at(int minutes, int seconds, int frames = 0) {
    io::Timecode timecode;
    timecode.hours = 10;
    timecode.minutes = minutes;
    timecode.seconds = seconds;
    timecode.frames = frames;
    return timecode;
}

io::LensSample sampleAt(const io::Timecode& timecode, double focus_m, double t_stop) {
    io::LensSample sample;
    sample.timecode = timecode;
    sample.frame_rate = io::FrameRate{24, 1};
    sample.lens.focal_mm = 28;
    sample.has_focal = true;
    sample.lens.focus_m = focus_m;
    sample.lens.t_stop = t_stop;
    sample.sensor_width_mm = 36;
    return sample;
}

size_t count(const std::vector<Finding>& findings, FindingKind kind) {
    return size_t(std::count_if(findings.begin(), findings.end(),
                                [&](const Finding& finding) { return finding.kind == kind; }));
}

}  // namespace

TEST_CASE("a plate without a sample costs the others nothing", "[record]") {
    std::vector<io::PlateFile> files;
    io::LensTrack track;
    track.path = "lens.jsonl";
    for (int i = 0; i < 6; ++i) {
        files.push_back(plateFile("a." + std::to_string(i) + ".exr", at(i, 7)));
        if (i != 2) track.samples.push_back(sampleAt(at(i, 7), 5 + 0.01 * i, 2.8));
    }
    const auto record = describeShoot(files, {track}, nullptr, {});
    REQUIRE(record.set.plates.size() == 6);
    CHECK(record.has_sample == std::vector<char>{1, 1, 0, 1, 1, 1});
    CHECK(count(record.findings, FindingKind::sample) == 1);
    CHECK(record.set.plates[2].lens.focal_mm == 28);
    CHECK(record.set.plates[2].focal_sigma > record.set.plates[1].focal_sigma);
}

TEST_CASE("encoders that stand still for one plate are noticed", "[record]") {
    std::vector<io::PlateFile> files;
    io::LensTrack track;
    track.path = "lens.jsonl";
    for (int i = 0; i < 8; ++i) {
        files.push_back(plateFile("a." + std::to_string(i) + ".exr", at(i, 7)));
        track.samples.push_back(sampleAt(at(i, 7), 5 + 0.01 * (i == 4 ? 3 : i), 2.8));
    }
    const auto record = describeShoot(files, {track}, nullptr, {});
    REQUIRE(count(record.findings, FindingKind::sample) == 1);
    CHECK(record.findings[0].plates == std::vector<std::string>{"a.4.exr"});
}

TEST_CASE("focus and iris that moved for one plate are told of that plate", "[record]") {
    std::vector<io::PlateFile> files;
    io::LensTrack track;
    track.path = "lens.jsonl";
    for (int i = 0; i < 8; ++i) {
        files.push_back(plateFile("a." + std::to_string(i) + ".exr", at(i, 7)));
        track.samples.push_back(sampleAt(at(i, 7), i == 6 ? 2.0 : 5.0, i == 3 ? 2.1 : 2.9));
    }
    const auto findings = driftFindings(describeShoot(files, {track}, nullptr, {}));
    REQUIRE(count(findings, FindingKind::iris) == 1);
    REQUIRE(count(findings, FindingKind::focus) == 1);
    for (const auto& finding : findings)
        CHECK(finding.plates ==
              std::vector<std::string>{finding.kind == FindingKind::iris ? "a.3.exr" : "a.6.exr"});
}

TEST_CASE("timecodes that repeat, run back or leave a gap are told", "[record]") {
    const auto of = [](const std::vector<io::Timecode>& timecodes) {
        std::vector<io::PlateFile> files;
        for (size_t i = 0; i < timecodes.size(); ++i)
            files.push_back(plateFile("a." + std::to_string(i) + ".exr", timecodes[i]));
        return timecodeFindings(files);
    };
    CHECK(of({at(0, 0), at(0, 9), at(0, 20), at(0, 31), at(0, 40), at(0, 52)}).empty());
    const auto doubles = of({at(0, 0), at(0, 9), at(0, 9), at(0, 31), at(0, 40), at(0, 52)});
    REQUIRE(doubles.size() == 1);
    CHECK(doubles[0].grave);
    CHECK(doubles[0].plates == std::vector<std::string>{"a.1.exr", "a.2.exr"});
    CHECK(of({at(0, 0), at(0, 9), at(0, 20), at(9, 31), at(9, 40), at(9, 52), at(10, 1)}).size() ==
          1);
    CHECK(of({at(0, 0), at(0, 9), at(0, 5), at(0, 31), at(0, 40), at(0, 52)}).size() == 1);
}

TEST_CASE("a report that names EXR files serves their proxies", "[record]") {
    const std::vector<io::PlateFile> proxies{plateFile("plate.1001.jpg"),
                                             plateFile("plate.1002.jpg")};
    CHECK(platesNamed("plate.1002.exr", proxies) == std::vector<size_t>{1});
    CHECK(platesNamed("Plate.1002", proxies) == std::vector<size_t>{1});
    CHECK(platesNamed("shoot/plate.1002.exr", proxies) == std::vector<size_t>{1});
    CHECK(platesNamed("other/plate.1002.exr", proxies).empty());
    // Not so where that very file is there as well, nor for a frame number that looks like a kind.
    const std::vector<io::PlateFile> both{plateFile("plate.1002.jpg"), plateFile("plate.1002.exr")};
    CHECK(platesNamed("plate.1002.exr", both) == std::vector<size_t>{1});
    CHECK(platesNamed("plate.1003", proxies).empty());
}

TEST_CASE("a report with other names is told once, and the plates are looked at without it",
          "[record]") {
    const std::vector<io::PlateFile> files{plateFile("a.1.exr"), plateFile("a.2.exr")};
    io::CameraReport report;
    report.path = "report.csv";
    for (const char* name : {"b.1.exr", "b.2.exr"}) {
        io::ReportLine line;
        line.file = name;
        line.focal_mm = 35;
        report.lines.push_back(line);
    }
    const auto wrong = describeShoot(files, {}, &report, {});
    REQUIRE(count(wrong.findings, FindingKind::missing_plate) == 1);
    CHECK(wrong.findings[0].plates.size() == 2);
    CHECK_THAT(wrong.findings[0].advice, Catch::Contains("file names"));
    CHECK(wrong.set.plates.size() == 2);

    report.lines[0].file = "a.1.exr";
    const auto half = describeShoot(files, {}, &report, {});
    REQUIRE(count(half.findings, FindingKind::missing_plate) == 1);
    CHECK(half.findings[0].plates == std::vector<std::string>{"b.2.exr"});
    CHECK(half.set.plates[0].lens.focal_mm == 35);
}

TEST_CASE("plates with one locked timecode are tied by order, as a stitch ties them", "[record]") {
    std::vector<io::PlateFile> files;
    io::LensTrack track;
    track.path = "lens.jsonl";
    for (int i = 0; i < 6; ++i) {
        files.push_back(plateFile("a." + std::to_string(i) + ".exr", at(0, 0)));
        track.samples.push_back(sampleAt(at(i, 7), 5 + 0.01 * i, 2.8));
    }
    const auto record = describeShoot(files, {track}, nullptr, {});
    CHECK(count(record.findings, FindingKind::sample) == 0);
    CHECK(record.has_sample == std::vector<char>(6, 1));
    CHECK(record.set.plates[4].lens.focus_m == Approx(5.04));
}

TEST_CASE("a lens racked to infinity is told so, and one locked there is calm", "[record]") {
    for (const bool racked : {false, true}) {
        std::vector<io::PlateFile> files;
        io::LensTrack track;
        track.path = "lens.jsonl";
        for (int i = 0; i < 6; ++i) {
            files.push_back(plateFile("a." + std::to_string(i) + ".exr", at(i, 7)));
            track.samples.push_back(sampleAt(
                at(i, 7), racked && i == 3 ? 4 : calib::kFocusAtInfinity_m, 2.8 + 0.001 * i));
        }
        const auto findings = driftFindings(describeShoot(files, {track}, nullptr, {}));
        REQUIRE(count(findings, FindingKind::focus) == size_t(racked));
        if (racked)
            CHECK_THAT(findings.front().text,
                       Catch::Contains("4 m where the others have infinity"));
    }
}
