// What goes wrong with clips: on disk, between one another, with their lens tracks, and when
// several tasks make one job.
#include <sys/mount.h>

#include <catch2/catch.hpp>
#include <chrono>
#include <nlohmann/json.hpp>
#include <thread>

#include "tests/clips_on_disk.h"
#include "tests/frames_on_disk.h"
#include "tests/program.h"

using namespace plateloom;
using Catch::Contains;
using test::ClipOnDisk;
using test::Folder;
using test::ProgramRun;
using test::put;
using test::quoted;
using test::run;
namespace fs = std::filesystem;

namespace {

ProgramRun check(const Folder& folder, const std::string& more = "") {
    return run("check " + quoted(folder / "clips") +
               " --clips array --focal 28 --sensor 36x20.25 " + more);
}

fs::path pattern(const Folder& folder, const std::string& name) {
    return folder / ("clips/" + name + ".####.exr");
}

fs::path frame(const Folder& folder, const std::string& name, int64_t number) {
    return io::framePath(pattern(folder, name).string(), number);
}

std::string label(int64_t frames) {
    return toString(io::timecodeOf(86400 + frames, {24, 1}, false));
}

void writeTrack(const fs::path& path, int64_t first, int64_t last, int64_t hole_from = 1,
                int64_t hole_to = 0) {
    std::string text = "timecode,fps,focal_mm,sensor_width_mm,k1,a1\n";
    for (int64_t n = first; n <= last; ++n)
        if (n < hole_from || n > hole_to) text += label(n) + ",24,28,36,1e-4,3e-4\n";
    put(path, text);
}

// No library's inner words, no half-made file.
void checkPolite(const ProgramRun& result) {
    for (const char* word : {"terminate", "what()", "OpenImageIO", "std::", "Assertion"})
        CHECK_THAT(result.err, !Contains(word));
}

size_t filesIn(const fs::path& folder) {
    return fs::exists(folder) ? size_t(std::distance(fs::directory_iterator(folder), {})) : 0;
}

}  // namespace

TEST_CASE("Clips of unlike length: each one's range and what they share are said") {
    const Folder folder;
    test::writeClip(folder / "clips", "cam1", {}, 1001, 1012);
    test::writeClip(folder / "clips", "cam2", {}, 1004, 1020);
    const auto result = check(folder);
    CHECK(result.status <= 1);
    CHECK_THAT(result.err, Contains("cam1 has frames 1001 to 1012 from 01:00:00:00") &&
                               Contains("cam2 has frames 1004 to 1020 from 01:00:00:03") &&
                               Contains("frames 1004 to 1012 (9)"));
    checkPolite(result);
}

TEST_CASE("Takes shot in turn have no path to follow: the command line is wrong, nothing is made") {
    const Folder folder;
    test::writeClip(folder / "clips", "cam1", {}, 1001, 1004);
    test::writeClip(folder / "clips", "cam2", {}, 1001, 1004);
    const auto result = run("solve " + quoted(folder / "clips") +
                            " --clips in-turn --steady follow -o " + quoted(folder / "m.jsonl"));
    CHECK(result.status == 2);
    CHECK_THAT(result.err, Contains("--steady follow") && Contains("--steady lock"));
    CHECK_FALSE(fs::exists(folder / "m.jsonl"));
    checkPolite(result);
}

TEST_CASE("Clips of unlike rate, and a clip without timecode among others, are refused") {
    const Folder folder;
    ClipOnDisk other;
    other.rate = io::FrameRate{25, 1};
    test::writeClip(folder / "clips", "cam1", {}, 1001, 1004);
    test::writeClip(folder / "clips", "cam2", other, 1001, 1004);
    const auto rates = check(folder);
    CHECK(rates.status == 3);
    CHECK_THAT(rates.err,
               Contains("cam2") && Contains("25 frames a second") && Contains("cam1 at 24"));

    other.rate = io::FrameRate{24, 1};
    other.start.reset();
    test::writeClip(folder / "clips", "cam2", other, 1001, 1004);
    const auto without = check(folder);
    CHECK(without.status == 3);
    CHECK_THAT(without.err, Contains("cam2: has no timecode, but cam1 has one"));
    CHECK(check(folder, "--sync first-frame").status == 1);
}

TEST_CASE("A frame of another size is named with both sizes, and so is one that is cut short") {
    const Folder folder;
    test::writeClip(folder / "clips", "cam1", {}, 1001, 1008);
    test::writeClip(folder / "clips", "cam2", {}, 1001, 1008);
    ClipOnDisk larger;
    larger.width = 64;
    test::writeClipFrame(frame(folder, "cam1", 1003), larger, 1003, 0.5f);
    fs::resize_file(frame(folder, "cam2", 1006), 700);
    const auto result = check(folder, "--json");
    CHECK(result.status == 1);
    CHECK_THAT(result.err, Contains("cam1: frame 1003 can't be used") && Contains("64 x 18") &&
                               Contains("32 x 18"));
    CHECK_THAT(result.err, Contains("cam2: frame 1006 can't be used"));
    checkPolite(result);
}

TEST_CASE("Missing, doubled, black and frozen frames of a clip are told once each, by range") {
    const Folder folder;
    for (const char* name : {"cam1", "cam2"})
        test::writeClip(folder / "clips", name, {}, 1001, 1040);
    for (int n = 1010; n <= 1012; ++n) fs::remove(frame(folder, "cam1", n));
    for (int n = 1020; n <= 1023; ++n) test::writeClipFrame(frame(folder, "cam1", n), {}, n, 0.0f);
    // The picture of 1030 again, at its own timecode; and a timecode that is there twice.
    test::writeClipFrame(frame(folder, "cam2", 1031), {}, 1031, 0.13f);
    for (int n = 1035; n <= 1040; ++n)
        test::writeClipFrame(frame(folder, "cam2", n), {}, n, 0.1f + 0.001f * float(n % 500), -1);
    const auto result = check(folder, "--json");
    CHECK(result.status == 1);
    CHECK_THAT(result.err, Contains("cam1: frames 1010-1012 are missing"));
    CHECK_THAT(result.err, Contains("cam1: frames 1020-1023 are black"));
    CHECK_THAT(result.err, Contains("looked at frames 1001, 1019, 1040"));
    CHECK_THAT(result.err, Contains("cam2: frame 1031 shows the frame before again"));
    CHECK_THAT(result.err,
               Contains("steps from 01:00:01:09 at frame 1034 to 01:00:01:09 at frame 1035"));
    const auto survey = nlohmann::json::parse(result.out);
    int missing = 0;
    for (const auto& finding : survey["findings"])
        missing += finding["text"].get<std::string>().find("1010-1012") != std::string::npos;
    for (const auto& warning : survey["warnings"])
        missing += warning.get<std::string>().find("1010-1012") != std::string::npos;
    CHECK(missing == 1);
}

TEST_CASE("A gap in one lens track is named by clip and frames; the rest is looked at") {
    const Folder folder;
    for (const char* name : {"cam1", "cam2"})
        test::writeClip(folder / "clips", name, {}, 1001, 1020);
    writeTrack(folder / "cam1.csv", 0, 19);
    writeTrack(folder / "cam2.csv", 0, 19, 8, 11);
    const auto result = check(
        folder, "--lens " + quoted(folder / "cam1.csv") + " --lens " + quoted(folder / "cam2.csv"));
    CHECK(result.status == 1);
    CHECK_THAT(result.err,
               Contains("cam2: no lens sample for frames 1009-1012") && Contains("cam2.csv"));
    // A job that needs them all refuses them.
    const auto flat =
        run("flatten " + quoted(pattern(folder, "cam1")) + " " + quoted(pattern(folder, "cam2")) +
            " --lens " + quoted(folder / "cam1.csv") + " --lens " + quoted(folder / "cam2.csv") +
            " -o " + quoted(folder / "flat"));
    CHECK(flat.status == 3);
    CHECK_THAT(flat.err, Contains("cam2: no lens sample for frame 1009"));
    CHECK(filesIn(folder / "flat") == 0);
}

TEST_CASE("Frames that vanish while the job runs are named; what was made stays whole") {
    const Folder folder;
    ClipOnDisk clip;
    clip.width = 640;
    clip.height = 360;
    test::writeClip(folder / "clips", "cam1", clip, 1001, 1060);
    writeTrack(folder / "lens.csv", 0, 60);
    ProgramRun result;
    std::thread job([&] {
        result = run("flatten " + quoted(pattern(folder, "cam1")) + " --lens " +
                     quoted(folder / "lens.csv") + " -o " + quoted(folder / "flat"));
    });
    using namespace std::chrono_literals;
    const auto until = std::chrono::steady_clock::now() + 60s;
    while (!fs::exists(folder / "flat/cam1.1001.exr") && std::chrono::steady_clock::now() < until)
        std::this_thread::sleep_for(1ms);
    fs::remove(frame(folder, "cam1", 1060));
    job.join();
    CHECK(result.status == 3);
    CHECK_THAT(result.err, Contains("cam1.1060.exr") && Contains("no such file"));
    CHECK(filesIn(folder / "flat") == 59);
    checkPolite(result);
}

TEST_CASE("What is no part of a whole is a fault of the command line, status 2, in every command") {
    const std::string chunk =
        GENERATE("5/4", "0/4", "-1/4", "x", "2", "2/", "1/0", "1/2/3", "1.5/4");
    const Folder folder;
    INFO(chunk);
    const std::string more = " --chunk=" + chunk + " -o " + quoted(folder / "out.####.exr");
    for (const std::string& command :
         {"flatten a.exr --lens b.csv" + more, "unflatten a.exr --lens b.csv" + more,
          "view a.exr --pose 1,0 --focal 20 --sensor 36x20" + more}) {
        const auto result = run(command);
        CHECK(result.status == 2);
        CHECK_THAT(result.err, Contains("K/N") || Contains("--chunk"));
    }
}

TEST_CASE("Offsets and clips that are not spelled right are status 2, unknown clips status 3") {
    const Folder folder;
    for (const char* name : {"cam1", "cam2"})
        test::writeClip(folder / "clips", name, {}, 1001, 1003);
    CHECK(check(folder, "--offset cam1").status == 2);
    CHECK(check(folder, "--offset cam1=two").status == 2);
    CHECK(check(folder, "--sync clapper").status == 2);
    CHECK(run("check " + quoted(folder / "clips") + " --clips together").status == 2);
    CHECK(run("check " + quoted(folder / "clips") + " --offset cam1=2").status == 2);
    CHECK(check(folder, "--watch").status == 2);
    // A contact sheet is of all frames.
    CHECK(run("view a.exr --pose 1,0 --focal 20 --sensor 36x20 --chunk 1/2 --sheet a.png -o b.exr")
              .status == 2);
    const auto unknown = check(folder, "--offset cam7=1");
    CHECK(unknown.status == 3);
    CHECK_THAT(unknown.err, Contains("cam7") && Contains("cam1, cam2"));
    CHECK(check(folder, "--offset cam1=+1 --offset cam2=-1").status == 1);
}

TEST_CASE("Two tasks that make the same frames do no harm") {
    const Folder folder;
    ClipOnDisk clip;
    clip.width = 320;
    clip.height = 180;
    test::writeClip(folder / "clips", "cam1", clip, 1001, 1020);
    writeTrack(folder / "lens.csv", 0, 20);
    const auto job = [&](const std::string& to) {
        return run("flatten " + quoted(pattern(folder, "cam1")) + " --lens " +
                   quoted(folder / "lens.csv") + " -o " + quoted(folder / to));
    };
    REQUIRE(job("whole").status == 0);
    ProgramRun results[2];
    std::thread tasks[2];
    for (int k : {0, 1}) tasks[k] = std::thread([&, k] { results[k] = job("both"); });
    for (std::thread& task : tasks) task.join();
    for (const ProgramRun& result : results) {
        INFO(result.err);
        CHECK(result.status == 0);
    }
    CHECK(filesIn(folder / "both") == 20);
    for (const auto& entry : fs::directory_iterator(folder / "whole"))
        CHECK(test::samePicture(folder / "both" / entry.path().filename().string(), entry.path()));
}

TEST_CASE("A full disk fails the task that met it, status 4 and one line; the other goes on") {
    const Folder folder, disk;
    if (mount("none", disk.path().c_str(), "tmpfs", 0, "size=96k") != 0) {
        WARN("no right to mount a small file system here: not tested");
        return;
    }
    ClipOnDisk clip;
    clip.width = 320;
    clip.height = 180;
    fs::create_directories(folder / "clips");
    // Light that does not compress to nothing.
    for (int n = 1001; n <= 1006; ++n) {
        OIIO::ImageSpec spec(clip.width, clip.height, 3, OIIO::TypeHalf);
        std::vector<float> data(size_t(clip.width) * clip.height * 3);
        uint32_t state = uint32_t(n);
        for (float& value : data)
            value = float((state = state * 1664525u + 1013904223u) >> 8) / 1e7f;
        const auto output = OIIO::ImageOutput::create("a.exr");
        output->open(frame(folder, "cam1", n).string(), spec);
        output->write_image(OIIO::TypeFloat, data.data());
        output->close();
    }
    put(folder / "lens.csv", "focal_mm,sensor_width_mm,k1,a1\n28,36,1e-4,3e-4\n");
    const auto job = [&](const fs::path& to, const std::string& chunk) {
        return run("flatten " + quoted(pattern(folder, "cam1")) + " --lens " +
                   quoted(folder / "lens.csv") + " --chunk " + chunk + " -o " + quoted(to));
    };
    const auto full = job(disk / "flat", "1/2");
    const size_t left = filesIn(disk / "flat");
    const auto other = job(folder / "flat", "2/2");
    umount(disk.path().c_str());
    CHECK(full.status == 4);
    CHECK_THAT(full.err, Contains("disk is full"));
    CHECK(left == 0);
    checkPolite(full);
    CHECK(other.status == 0);
    CHECK(filesIn(folder / "flat") == 3);
}
