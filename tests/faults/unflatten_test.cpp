// What goes wrong with frames on their way through `flatten` and `unflatten`.
#include <OpenImageIO/deepdata.h>

#include <catch2/catch.hpp>

#include "tests/frames_on_disk.h"
#include "tests/program.h"
#include "tests/unit/io/raw_exr.h"

using namespace plateloom::test;
using Catch::Contains;

namespace {

constexpr int kWidth = 160, kHeight = 90;

OIIO::ImageSpec stamped(int second, int frame) {
    OIIO::ImageSpec spec = rgbaSpec(kWidth, kHeight);
    const int rate[2] = {24, 1};
    spec.attribute("framesPerSecond", OIIO::TypeRational, rate);
    const uint32_t words[2] = {0x01000000u | uint32_t(second / 10) << 12 |
                                   uint32_t(second % 10) << 8 | uint32_t(frame / 10) << 4 |
                                   uint32_t(frame % 10),
                               0};
    spec.attribute("smpte:TimeCode", OIIO::TypeTimeCode, words);
    return spec;
}

double grey(double, double, int c) {
    return c == 3 ? 1 : 0.5;
}

// Frames 1001 and 1002, at 01:00:00:01 and :10.
void writeFlat(const Folder& folder) {
    std::filesystem::create_directories(folder / "flat");
    writeFrame(folder / "flat/a.1001.exr", stamped(0, 1), grey);
    writeFrame(folder / "flat/a.1002.exr", stamped(0, 10), grey);
}

std::string timecode(int frame) {
    char text[32];
    std::snprintf(text, sizeof text, "01:00:%02d:%02d", frame / 24, frame % 24);
    return text;
}

ProgramRun unflatten(const Folder& folder, const std::string& track, const std::string& more = "") {
    put(folder / "lens.csv", track);
    return run("unflatten " + quoted(folder / "flat") + " --lens " + quoted(folder / "lens.csv") +
               " -o " + quoted(folder / "look") + " " + more);
}

size_t files(const std::filesystem::path& folder) {
    if (!std::filesystem::exists(folder)) return 0;
    return size_t(std::distance(std::filesystem::directory_iterator(folder),
                                std::filesystem::directory_iterator()));
}

}  // namespace

TEST_CASE("A frame in a gap of the track is refused with frame and gap named, before any is made") {
    const Folder folder;
    writeFlat(folder);
    std::string track = kTrackHead;
    for (int i = 0; i < 40; ++i)
        if (i < 6 || i > 15) track += trackLine(timecode(i), 1000 + i, 0);
    const auto said = unflatten(folder, track);
    CHECK(said.status == 3);
    CHECK_THAT(said.err, Contains("a.1002.exr") && Contains("01:00:00:10") &&
                             Contains("no sample between 01:00:00:05 and 01:00:00:16"));
    CHECK(files(folder / "look") == 0);
}

TEST_CASE("The wrong track is refused, and so is a focal length of zero") {
    const Folder folder;
    writeFlat(folder);
    const auto wrong = unflatten(
        folder, kTrackHead + trackLine("09:00:00:00", 1, 0) + trackLine("09:00:00:01", 2, 0));
    CHECK(wrong.status == 3);
    CHECK_THAT(wrong.err, Contains("09:00:00:00"));
    const auto zero = unflatten(folder, "timecode,focal_mm\n01:00:00:01,0\n01:00:00:10,0\n");
    CHECK(zero.status == 3);
    CHECK_THAT(zero.err, Contains("not above 0"));
}

TEST_CASE("Deep samples are refused in a person's words") {
    const Folder folder;
    std::filesystem::create_directories(folder / "flat");
    OIIO::ImageSpec deep(kWidth, kHeight, 4, OIIO::TypeFloat);
    deep.channelnames = {"R", "G", "B", "A"};
    deep.deep = true;
    const auto path = (folder / "flat/a.1001.exr").string();
    const auto output = OIIO::ImageOutput::create(path);
    REQUIRE(output->open(path, deep));
    REQUIRE(output->write_deep_image(OIIO::DeepData(deep)));
    REQUIRE(output->close());
    const auto said = unflatten(folder, kTrackHead + trackLine("", 1001, 0));
    CHECK(said.status == 3);
    CHECK_THAT(said.err, Contains("deep") && Contains("a.1001.exr"));
    CHECK(files(folder / "look") == 0);
}

TEST_CASE("A part that the file can't hold is refused before memory is asked for") {
    const Folder folder;
    std::filesystem::create_directories(folder / "flat");
    namespace raw = plateloom::raw_exr;
    std::vector<raw::Part> parts(2);
    for (raw::Part& part : parts) {
        for (const char* name : {"B", "G", "R"})
            part.channels.push_back({name, raw::SampleType::half, [](int, int) { return 0u; }, 1});
        part.data = part.display = {0, 0, kWidth - 1, kHeight - 1};
        part.name = &part == &parts[0] ? "beauty" : "depth";
    }
    const auto path = folder / "flat/a.1001.exr";
    raw::write(path, parts);
    REQUIRE(unflatten(folder, kTrackHead + trackLine("", 1001, 0)).status <= 1);
    std::filesystem::remove_all(folder / "look");
    // The second part's last column.
    std::string bytes = contents(path);
    const size_t window = bytes.rfind("box2i", bytes.rfind("displayWindow")) + 6 + 4;
    REQUIRE(window < bytes.size());
    bytes.replace(window + 8, 4, raw::bytesOf(int32_t(200'000)));
    put(path, bytes);
    const auto said = unflatten(folder, kTrackHead + trackLine("", 1001, 0));
    CHECK(said.status == 3);
    CHECK_THAT(said.err, Contains("MB of samples") && Contains("the file is damaged"));
    CHECK(files(folder / "look") == 0);
}

TEST_CASE("Elements of one moment share its sample; equal pictures are different frames") {
    const Folder folder;
    writeFlat(folder);
    writeFrame(folder / "flat/b.1001.exr", stamped(0, 1), grey);
    std::filesystem::copy_file(folder / "flat/b.1001.exr", folder / "flat/c.1001.exr");
    std::string track = kTrackHead;
    for (int i = 0; i < 40; ++i) track += trackLine(timecode(i), 1000 + i, 0);
    CHECK(unflatten(folder, track).status == 1);  // no overscan: the rim is empty
    CHECK(files(folder / "look") == 4);
}

TEST_CASE("A folder that can't be written and a full disk leave no frame half made") {
    const Folder folder;
    writeFlat(folder);
    std::string track = kTrackHead;
    for (int i = 0; i < 40; ++i) track += trackLine(timecode(i), 1000 + i, 0);
    put(folder / "look", "a file stands here");
    const auto refused = unflatten(folder, track);
    CHECK(refused.status == 4);
    std::filesystem::remove(folder / "look");
    // A limit on file sizes stops the writing in the middle, as a full disk does.
    const std::filesystem::path program = std::getenv("PLATELOOM");
    const int code = std::system(
        ("ulimit -f 64; " + quoted(program) + " unflatten " + quoted(folder / "flat") + " --lens " +
         quoted(folder / "lens.csv") + " -o " + quoted(folder / "look") + " 2>/dev/null")
            .c_str());
    CHECK(WEXITSTATUS(code) == 4);
    CHECK(files(folder / "look") == 0);
}

TEST_CASE("A killed run leaves whole frames only, and resumed makes the same ones") {
    const Folder folder;
    std::filesystem::create_directories(folder / "flat");
    std::string track = kTrackHead;
    for (int i = 0; i < 30; ++i) {
        writeFrame(folder / ("flat/a." + std::to_string(1001 + i) + ".exr"),
                   stamped(i / 24, i % 24), grey);
        track += trackLine(timecode(i), 1001 + i, i * 0.1);
    }
    put(folder / "lens.csv", track);
    const auto to = [&](const char* out) {
        return "unflatten " + quoted(folder / "flat") + " --lens " + quoted(folder / "lens.csv") +
               " -o " + quoted(folder / out);
    };
    REQUIRE(run(to("whole")).status == 1);
    const std::filesystem::path program = std::getenv("PLATELOOM");
    (void)std::system(
        ("timeout -s KILL 0.2 " + quoted(program) + " " + to("look") + " 2>/dev/null >/dev/null")
            .c_str());
    REQUIRE(run(to("look") + " --resume").status <= 1);
    for (int i = 0; i < 30; ++i) {
        const std::string name = "a." + std::to_string(1001 + i) + ".exr";
        CHECK(contents(folder / "look" / name) == contents(folder / "whole" / name));
    }
}

TEST_CASE("A resumed run tells of the frames that it keeps what the full run told, status 1") {
    const Folder folder;
    writeFlat(folder);
    std::string track = kTrackHead;
    for (int i = 0; i < 40; ++i) track += trackLine(timecode(i), 1000 + i, 0);
    const auto full = unflatten(folder, track);
    REQUIRE(full.status == 1);  // no overscan: the rim is empty
    const auto line = full.err.substr(full.err.find("warning: a.1001.exr"));
    const std::string told = line.substr(0, line.find('\n'));
    CHECK_THAT(told, Contains("does not reach everywhere"));
    const auto resumed = unflatten(folder, track, "--resume");
    CHECK(resumed.status == 1);
    CHECK_THAT(resumed.err, Contains(told) && Contains("kept 2 frames"));
}

TEST_CASE("A frame that is largely NaN is told of with its share, resumed as well, status 1") {
    const Folder folder;
    std::filesystem::create_directories(folder / "plates");
    writeFrame(folder / "plates/a.1001.exr", stamped(0, 1), [](double x, double y, int c) {
        return c < 3 && y < 0.42 * kHeight ? std::nan("") : grey(x, y, c);
    });
    put(folder / "lens.csv", kTrackHead + trackLine(timecode(1), 1001, 0));
    const std::string flatten = "flatten " + quoted(folder / "plates") + " --lens " +
                                quoted(folder / "lens.csv") + " -o " + quoted(folder / "out");
    for (const char* more : {"", " --resume"}) {
        const auto said = run(flatten + more);
        CHECK(said.status == 1);
        CHECK_THAT(said.err,
                   Contains("a.1001.exr") && Contains("42.2 %") && Contains("not finite"));
    }
}

TEST_CASE(
    "Light that is too bright for half once the falloff is undone is told of, resumed as well") {
    const Folder folder;
    std::filesystem::create_directories(folder / "plates");
    OIIO::ImageSpec spec = stamped(0, 1);
    spec.set_format(OIIO::TypeHalf);
    writeFrame(folder / "plates/a.1001.exr", spec,
               [](double, double, int c) { return c < 3 ? 64000.0 : 1.0; });
    put(folder / "lens.csv", kTrackHead + trackLine(timecode(1), 1001, 0));
    const std::string flatten = "flatten " + quoted(folder / "plates") + " --lens " +
                                quoted(folder / "lens.csv") + " -o " + quoted(folder / "out");
    std::string told;
    for (const char* more : {"", " --resume"}) {
        const auto said = run(flatten + more);
        INFO(said.err);
        CHECK(said.status == 0);
        const auto at = said.err.find("a.1001.exr: ");
        REQUIRE(at != std::string::npos);
        const std::string line = said.err.substr(at, said.err.find('\n', at) - at);
        CHECK_THAT(line, Contains("brighter than half holds"));
        if (!told.empty()) CHECK(line == told);
        told = line;
    }
}
