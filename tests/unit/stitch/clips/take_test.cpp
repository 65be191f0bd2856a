#include "stitch/clips/take.h"

#include <catch2/catch.hpp>

#include "io/input_error.h"
#include "io/lens_table_file.h"
#include "tests/clips_on_disk.h"
#include "tests/program.h"

using namespace plateloom;
using namespace plateloom::stitch;
using Catch::Contains;
using test::ClipOnDisk;
using test::Folder;

namespace {

std::string all(const std::vector<std::string>& lines) {
    std::string text;
    for (const auto& line : lines) text += line + "\n";
    return text;
}

io::Timecode labelAt(int64_t frames, const io::FrameRate& rate = {24, 1}) {
    return io::timecodeOf(io::frameNumber({1, 0, 0, 0, false}, rate) + frames, rate, false);
}

// A lens track whose focal length tells the frame: 20 mm and a thousandth for each one since
// 01:00:00:00, and `more`.
std::string trackText(int64_t first, int64_t last, double more, const std::string& camera = "",
                      int64_t hole_from = 1, int64_t hole_to = 0) {
    std::string text = "timecode,fps,focal_mm,sensor_width_mm,camera\n";
    for (int64_t n = first; n <= last; ++n) {
        if (n >= hole_from && n <= hole_to) continue;
        char line[200];
        std::snprintf(line, sizeof line, "%s,24,%.6f,36,%s\n", toString(labelAt(n)).c_str(),
                      20 + more + 0.001 * double(n), camera.c_str());
        text += line;
    }
    return text;
}

// Two cameras that rolled together; the second's files are numbered otherwise and it started three
// frames later.
struct TwoCameras {
    Folder folder;
    TakeArguments arguments;

    TwoCameras() {
        test::writeClip(folder.path(), "cam1", {}, 1001, 1020);
        ClipOnDisk second;
        second.first = 1;
        second.start = labelAt(3);
        test::writeClip(folder.path(), "cam2", second, 1, 20);
        arguments.plates.plates = {(folder / "cam1.####.exr").string(),
                                   (folder / "cam2.####.exr").string()};
        arguments.plates.focal_mm = 24;
        arguments.plates.sensor_width_mm = 36;
    }
    void addTrack(const std::string& name, const std::string& text) {
        test::put(folder / name, text);
        arguments.plates.lens_tracks.push_back(folder / name);
    }
};

}  // namespace

TEST_CASE("Cameras that rolled together are tied by timecode, and the common range is theirs") {
    const TwoCameras two;
    const Take take = gatherTake(two.arguments);
    REQUIRE(take.clips.size() == 2);
    CHECK(take.first == 1004);
    CHECK(take.last == 1020);
    CHECK(take.clips[0].ahead == 0);
    CHECK(take.clips[1].ahead == -1003);
    CHECK(take.rate == io::FrameRate{24, 1});
    CHECK(take.start == labelAt(3));
    CHECK(take.timecodeAt(1010) == labelAt(9));
    const Moment moment = take.at(1010);
    REQUIRE(moment.plates.size() == 2);
    CHECK(moment.plates[1].file.path.filename() == "cam2.0007.exr");
    for (const Plate& plate : moment.plates) CHECK(plate.file.timecode() == labelAt(9));
    CHECK(moment.plates[0].lens_group != moment.plates[1].lens_group);
    CHECK_THAT(all(take.warnings),
               Contains("do not have the same range") && Contains("frames 1004 to 1020 (17)"));
    CHECK_THAT(all(take.notes), Contains("tied in time by timecode"));
}

TEST_CASE("An offset moves its clip later; a name that is no clip's is refused") {
    TwoCameras two;
    two.arguments.offsets["cam2"] = 2;
    const Take later = gatherTake(two.arguments);
    CHECK(later.clips[1].ahead == -1005);
    CHECK(later.first == 1006);
    two.arguments.offsets = {{"cam1", 2}};
    CHECK(gatherTake(two.arguments).clips[1].ahead == -1001);
    two.arguments.offsets = {{"cam9", 2}};
    CHECK_THROWS_WITH(gatherTake(two.arguments), Contains("cam9") && Contains("cam1, cam2"));
}

TEST_CASE("Midnight within a take is a moment like any other") {
    const Folder folder;
    ClipOnDisk before, after;
    before.start = io::Timecode{23, 59, 59, 12, false};
    after.start = io::Timecode{0, 0, 0, 2, false};
    test::writeClip(folder.path(), "a", before, 1001, 1040);
    test::writeClip(folder.path(), "b", after, 1001, 1040);
    TakeArguments arguments;
    arguments.plates.plates = {folder.path().string()};
    const Take take = gatherTake(arguments);
    CHECK(take.clips[1].ahead == -14);
    CHECK(take.first == 1015);
    CHECK(take.last == 1040);
    CHECK(take.timecodeAt(1012) == io::Timecode{23, 59, 59, 23, false});
    CHECK(take.timecodeAt(1013) == io::Timecode{0, 0, 0, 0, false});
}

TEST_CASE("Drop-frame and 59.94 clips are tied frame by frame") {
    const io::FrameRate rate = GENERATE(io::FrameRate{30000, 1001}, io::FrameRate{60000, 1001});
    const bool drop = GENERATE(false, true);
    const Folder folder;
    ClipOnDisk a, b;
    a.rate = b.rate = rate;
    // The second camera starts 25 frames later, past the minute.
    const int64_t begin = io::frameNumber({10, 0, 59, 20, drop}, rate);
    a.start = io::timecodeOf(begin, rate, drop);
    b.start = io::timecodeOf(begin + 25, rate, drop);
    test::writeClip(folder.path(), "a", a, 1001, 1080);
    test::writeClip(folder.path(), "b", b, 1001, 1080);
    TakeArguments arguments;
    arguments.plates.plates = {folder.path().string()};
    const Take take = gatherTake(arguments);
    CHECK(take.clips[1].ahead == -25);
    const Moment moment = take.at(1050);
    CHECK(moment.plates[0].file.timecode() == moment.plates[1].file.timecode());
    CHECK(take.timecodeAt(1050) == moment.plates[0].file.timecode());
}

TEST_CASE("Without timecodes the first frames tie; with some of them, nothing is guessed") {
    const Folder folder;
    ClipOnDisk untimed;
    untimed.start.reset();
    test::writeClip(folder.path(), "a", untimed, 1001, 1010);
    test::writeClip(folder.path(), "b", untimed, 1, 12);
    TakeArguments arguments;
    arguments.plates.plates = {folder.path().string()};
    const Take take = gatherTake(arguments);
    CHECK(take.clips[1].ahead == -1000);
    CHECK(take.frames() == 10);
    CHECK_FALSE(take.start);
    CHECK_THAT(all(take.notes), Contains("first frames"));

    test::writeClip(folder.path(), "c", {}, 1001, 1010);
    CHECK_THROWS_WITH(gatherTake(arguments),
                      Contains("a, b: have no timecode, but c has one") && Contains("--sync"));
    arguments.sync = Sync::first_frame;
    CHECK(gatherTake(arguments).clips[2].ahead == 0);
}

TEST_CASE("Clips shot in turn are tied by their first frames, and an overlap is told") {
    TwoCameras two;
    two.arguments.rolled = Rolled::in_turn;
    const Take take = gatherTake(two.arguments);
    CHECK(take.clips[1].ahead == -1000);
    CHECK(take.first == 1001);
    CHECK_THAT(all(take.warnings), Contains("overlap") && Contains("--clips array"));

    const Folder folder;
    ClipOnDisk later;
    later.start = labelAt(5000);
    test::writeClip(folder.path(), "a", {}, 1001, 1010);
    test::writeClip(folder.path(), "b", later, 1001, 1010);
    TakeArguments arguments;
    arguments.plates.plates = {folder.path().string()};
    arguments.rolled = Rolled::in_turn;
    const Take in_turn = gatherTake(arguments);
    CHECK(in_turn.frames() == 10);
    CHECK_THAT(all(in_turn.warnings), !Contains("overlap"));
    arguments.rolled = Rolled::array;
    CHECK_THROWS_WITH(gatherTake(arguments), Contains("no frame in common") &&
                                                 Contains("a has frames 1001 to 1010") &&
                                                 Contains("b has frames 1001 to 1010"));
}

TEST_CASE("Unlike rates are refused, and both are said") {
    const Folder folder;
    ClipOnDisk other;
    other.rate = io::FrameRate{25, 1};
    test::writeClip(folder.path(), "a", {}, 1001, 1010);
    test::writeClip(folder.path(), "b", other, 1001, 1010);
    TakeArguments arguments;
    arguments.plates.plates = {folder.path().string()};
    CHECK_THROWS_WITH(gatherTake(arguments), Contains("25") && Contains("24"));
}

TEST_CASE("Each clip's frames have the samples of its own track, by name or by order") {
    TwoCameras two;
    const bool named = GENERATE(true, false);
    two.addTrack(named ? "cam2_lens.csv" : "first.csv", trackText(-5, 60, named ? 5 : 0));
    two.addTrack(named ? "cam1.csv" : "second.csv", trackText(-5, 60, named ? 0 : 5));
    const Take take = gatherTake(two.arguments);
    const Moment moment = take.at(1010);
    CHECK(moment.plates[0].lens.focal_mm == Approx(20.009).margin(1e-9));
    CHECK(moment.plates[1].lens.focal_mm == Approx(25.009).margin(1e-9));
    CHECK_THAT(all(take.notes),
               Contains(named ? "cam1: tied to cam1.csv by timecode" : "in the order given"));
}

TEST_CASE("One track whose samples name clips or cameras serves all") {
    TwoCameras two;
    const bool clips = GENERATE(true, false);
    std::string text = clips ? "timecode,fps,focal_mm,sensor_width_mm,clip\n"
                             : "timecode,fps,focal_mm,sensor_width_mm,camera\n";
    for (const auto& [name, more] : {std::pair{"CAM2", 5.0}, std::pair{"CAM1", 0.0}}) {
        const std::string body = trackText(0, 40, more, name);
        text += body.substr(body.find('\n') + 1);
    }
    two.addTrack("all.csv", text);
    const Moment moment = gatherTake(two.arguments).at(1012);
    CHECK(moment.plates[0].lens.focal_mm == Approx(20.011).margin(1e-9));
    CHECK(moment.plates[1].lens.focal_mm == Approx(25.011).margin(1e-9));
}

TEST_CASE("A track that could be any clip's is refused; one lens without a time is everybody's") {
    TwoCameras two;
    two.addTrack("lens.csv", trackText(0, 40, 0));
    CHECK_THROWS_WITH(gatherTake(two.arguments),
                      Contains("2 clips and one lens track") && Contains("cam1.csv"));
    test::put(two.folder / "lens.csv", "focal_mm,sensor_width_mm\n33,36\n");
    for (const Plate& plate : gatherTake(two.arguments).at(1010).plates)
        CHECK(plate.lens.focal_mm == 33);
}

TEST_CASE("Clips shot in turn share one running track") {
    const Folder folder;
    ClipOnDisk later;
    later.start = labelAt(50);
    test::writeClip(folder.path(), "a", {}, 1001, 1010);
    test::writeClip(folder.path(), "b", later, 1001, 1010);
    test::put(folder / "camera.csv", trackText(0, 120, 0));
    TakeArguments arguments;
    arguments.plates.plates = {folder.path().string()};
    arguments.plates.lens_tracks = {folder / "camera.csv"};
    arguments.rolled = Rolled::in_turn;
    const Moment moment = gatherTake(arguments).at(1003);
    CHECK(moment.plates[0].lens.focal_mm == Approx(20.002).margin(1e-9));
    CHECK(moment.plates[1].lens.focal_mm == Approx(20.052).margin(1e-9));
    CHECK(moment.plates[0].lens_group == moment.plates[1].lens_group);
}

TEST_CASE(
    "A gap in one track is named by clip and frames; where it is tolerated the rest goes on") {
    TwoCameras two;
    two.addTrack("cam1.csv", trackText(0, 40, 0));
    two.addTrack("cam2.csv", trackText(0, 40, 5, "", 10, 13));
    CHECK_THROWS_WITH(gatherTake(two.arguments),
                      Contains("cam2: no lens sample for frames 8-11") && Contains("cam2.csv"));
    two.arguments.tolerates_gaps = true;
    const Take take = gatherTake(two.arguments);
    CHECK(take.clips[1].without_lens == std::vector<int64_t>{1011, 1012, 1013, 1014});
    CHECK(take.at(1010).plates.size() == 2);
    CHECK(take.at(1012).clip == std::vector<int>{0});
    two.arguments.tolerates_gaps = false;
    two.arguments.plates.frames = io::FrameRange{1015, 1018};
    CHECK(gatherTake(two.arguments).frames() == 4);
}

TEST_CASE("A clip whose frame is missing is left out of that moment alone") {
    TwoCameras two;
    std::filesystem::remove(two.folder / "cam1.1010.exr");
    const Take take = gatherTake(two.arguments);
    CHECK_FALSE(take.has(0, 1010));
    const Moment moment = take.at(1010);
    REQUIRE(moment.plates.size() == 1);
    CHECK(moment.clip == std::vector<int>{1});
    CHECK(moment.plates[0].lens_group == take.at(1011).plates[1].lens_group);
}

TEST_CASE("The frames asked for are the take's, within what all clips have") {
    TwoCameras two;
    two.arguments.plates.frames = io::FrameRange{1008, 1030};
    const Take take = gatherTake(two.arguments);
    CHECK(take.first == 1008);
    CHECK(take.last == 1020);
    CHECK(take.start == labelAt(7));
    CHECK_THAT(all(take.warnings), Contains("1008-1030"));
    two.arguments.plates.frames = io::FrameRange{1, 3};
    CHECK_THROWS_WITH(gatherTake(two.arguments), Contains("1004 to 1020"));
}

TEST_CASE("A report's line is its clip's at every frame; one that names none is told") {
    TwoCameras two;
    two.arguments.plates.focal_mm.reset();
    test::put(two.folder / "report.csv",
              "file,focal_mm,pan_deg,tilt_deg\ncam1,24,10,0\ncam2.####.exr,35,-20,5\nslate,1,,\n");
    two.arguments.plates.report = two.folder / "report.csv";
    const Take take = gatherTake(two.arguments);
    const Moment moment = take.at(1015);
    CHECK(moment.plates[0].lens.focal_mm == 24);
    CHECK(moment.plates[1].lens.focal_mm == 35);
    CHECK(moment.plates[1].pose->pan_deg == -20);
    CHECK_THAT(all(take.warnings), Contains("names clips that were not given: slate"));
    test::put(two.folder / "report.csv", "file,focal_mm\ncam1,24\ncam1.1002.exr,35\n");
    CHECK_THROWS_WITH(gatherTake(two.arguments), Contains("already in line 2"));
}

TEST_CASE("Timecodes that only the take's clock tells do not tie a track that has none") {
    TwoCameras two;
    std::string text = "frame,focal_mm,sensor_width_mm\n";
    for (int n = 1001; n <= 1020; ++n)
        text += std::to_string(n) + "," + std::to_string(n) + ",36\n";
    two.addTrack("cam1.csv", text);
    std::string order = "focal_mm,sensor_width_mm\n";
    for (int n = 1; n <= 20; ++n) order += std::to_string(100 + n) + ",36\n";
    two.addTrack("cam2.csv", order);
    const Take take = gatherTake(two.arguments);
    const Moment moment = take.at(1010);
    CHECK(moment.plates[0].lens.focal_mm == 1010);
    CHECK(moment.plates[1].lens.focal_mm == 107);
    CHECK_THAT(all(take.notes), Contains("cam1: tied to cam1.csv by frame number") &&
                                    Contains("cam2: tied to cam2.csv by order"));
    test::put(two.folder / "cam2.csv", "focal_mm,sensor_width_mm\n100,36\n101,36\n");
    CHECK_THROWS_WITH(gatherTake(two.arguments), Contains("2 samples for the 20 frames of cam2"));
}

TEST_CASE("A lens table serves clips, at the rings of each frame's header, else of the report") {
    const Folder folder;
    calib::LensTable table;
    table.sensor = {36, 20.25, 32, 18};
    for (const double focus_m : {1.0, 4.0}) {
        calib::MeasuredLens at;
        at.setting = {focus_m, 2.8, 24.0};
        at.lens.focal_mm = focus_m == 1 ? 24.5 : 24.0;
        at.lens.focus_m = focus_m;
        at.lens.t_stop = 2.8;
        at.geometry = at.shading = true;
        table.measured.push_back(at);
    }
    io::addToLensTable(folder / "lens.json", table);
    // The focus is pulled from 1 to 4 m.
    for (int n = 1; n <= 4; ++n) {
        ClipOnDisk pulled;
        pulled.focus_m = float(n);
        pulled.t_stop = 2.8f;
        test::writeClipFrame(folder / ("a." + std::to_string(n) + ".exr"), pulled, n,
                             0.1f * float(n));
    }
    TakeArguments arguments;
    arguments.plates.plates = {(folder / "a.#.exr").string()};
    arguments.plates.lens_tracks = {folder / "lens.json"};
    arguments.plates.focal_mm = 24;
    const Take take = gatherTake(arguments);
    CHECK(take.at(1).plates[0].lens.focal_mm == Approx(24.5));
    CHECK(take.at(4).plates[0].lens.focal_mm == Approx(24.0));
    CHECK(take.at(2).plates[0].lens.focal_mm < 24.4);
    CHECK(take.at(2).plates[0].distortion_known);
    CHECK_THAT(all(take.notes), Contains("lens from lens.json"));

    test::writeClip(folder.path(), "b", {}, 1, 4);
    arguments.plates.plates = {(folder / "b.####.exr").string()};
    CHECK_THROWS_WITH(gatherTake(arguments), Contains("says no focus"));
    test::put(folder / "report.csv", "file,focus_m,t_stop\nb,1,2.8\n");
    arguments.plates.report = folder / "report.csv";
    for (const int64_t frame : {1, 4})
        CHECK(gatherTake(arguments).at(frame).plates[0].lens.focal_mm == Approx(24.5));
}
