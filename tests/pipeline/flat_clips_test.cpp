// Clips through `flatten` and `unflatten`: all frames, each with its own lens, whole or in chunks.
#include <catch2/catch.hpp>

#include "io/colour.h"
#include "tests/clips_on_disk.h"
#include "tests/frames_on_disk.h"
#include "tests/movies_in_mp4.h"
#include "tests/program.h"

using namespace plateloom;
using Catch::Contains;
using test::ClipOnDisk;
using test::Folder;
using test::quoted;
using test::run;

namespace {

// A track whose shading tells the frame: the corners lose more with each.
void writeTrack(const std::filesystem::path& path, int64_t first, int64_t last, double a1) {
    std::string text = "timecode,fps,focal_mm,sensor_width_mm,k1,a1\n";
    for (int64_t n = first; n <= last; ++n) {
        char line[120];
        std::snprintf(line, sizeof line, "%s,24,24,36,0,%.8g\n",
                      toString(io::timecodeOf(86400 + n, {24, 1}, false)).c_str(),
                      a1 + 1e-6 * double(n));
        text += line;
    }
    test::put(path, text);
}

// What flattening multiplied a corner's light by.
double gainOf(const std::filesystem::path& flat, const std::filesystem::path& recorded) {
    const auto a = test::readFrame(flat), b = test::readFrame(recorded);
    return a.data.empty() || b.data.empty() ? 0 : a.at(2, 2, 0) / b.at(2, 2, 0);
}

double expectedGain(double a1) {
    const double x = (2.5 / 32 - 0.5) * 36, y = (2.5 / 18 - 0.5) * 20.25;
    return 1 / (1 - a1 * (x * x + y * y));
}

size_t filesIn(const std::filesystem::path& folder) {
    return size_t(std::distance(std::filesystem::directory_iterator(folder), {}));
}

}  // namespace

TEST_CASE("Without --frames a pattern means all frames; two cameras have two lenses at one time") {
    const Folder folder;
    for (const char* name : {"cam1", "cam2"})
        test::writeClip(folder / "clips", name, {}, 1001, 1006);
    writeTrack(folder / "cam1.csv", 0, 10, 4e-4);
    writeTrack(folder / "cam2.csv", 0, 10, 8e-4);
    const auto flat =
        run("flatten " + quoted(folder / "clips/cam1.####.exr") + " " +
            quoted(folder / "clips/cam2.####.exr") + " --lens " + quoted(folder / "cam2.csv") +
            " --lens " + quoted(folder / "cam1.csv") + " -o " + quoted(folder / "flat"));
    INFO(flat.err);
    REQUIRE(flat.status == 0);
    CHECK_THAT(flat.err, Contains("cam1: tied to cam1.csv by timecode"));
    CHECK(filesIn(folder / "flat") == 12);
    for (int n = 1001; n <= 1006; ++n)
        for (const auto& [camera, a1] : {std::pair{"cam1", 4e-4}, std::pair{"cam2", 8e-4}}) {
            const std::string name = std::string(camera) + "." + std::to_string(n) + ".exr";
            CHECK(gainOf(folder / "flat" / name, folder / "clips" / name) ==
                  Approx(expectedGain(a1 + 1e-6 * (n - 1001))).epsilon(2e-3));
        }
}

TEST_CASE("A movie is flattened frame by frame into numbered pictures") {
    const Folder folder;
    test::writeMovie(folder / "proxy.avi", 32, 18, 8, {24, 1}, "01:00:00:00", test::movieCode);
    writeTrack(folder / "lens.csv", 0, 10, 4e-4);
    const std::string command = "flatten " + quoted(folder / "proxy.avi") + " --lens " +
                                quoted(folder / "lens.csv") + " --depth float -o " +
                                quoted(folder / "flat");
    const auto flat = run(command);
    INFO(flat.err);
    REQUIRE(flat.status == 0);
    CHECK(filesIn(folder / "flat") == 8);
    for (int frame = 1; frame <= 8; ++frame) {
        const auto made =
            test::readFrame(io::framePath((folder / "flat/proxy.####.exr").string(), frame));
        REQUIRE(!made.data.empty());
        float light[3] = {float(test::movieCode(frame - 1, 16, 9, 0)) / 255, 0, 0};
        io::linearize(light, 1, 3, "Rec.709");
        CHECK(made.at(16, 9, 0) == Approx(light[0]).epsilon(0.01).margin(1e-3));
    }
    // It knows its own frames again.
    CHECK_THAT(run(command + " --resume").err, Contains("kept 8 flat plates"));
    // And back.
    const auto back = run("unflatten " + quoted(folder / "proxy.avi") + " --lens " +
                          quoted(folder / "lens.csv") + " -o " + quoted(folder / "look"));
    INFO(back.err);
    CHECK(back.status <= 1);
    CHECK(filesIn(folder / "look") == 8);
}

TEST_CASE("A movie's frames that can't be decoded are left out of what is flattened, and told") {
    const Folder folder;
    test::writeLeaningMovie(folder / "proxy.mp4");
    test::put(folder / "lens.csv", "file,focal_mm,sensor_width_mm,k1,a1\nproxy.mp4,24,36,0,4e-4\n");
    const auto flat = run("flatten " + quoted(folder / "proxy.mp4") + " --lens " +
                          quoted(folder / "lens.csv") + " -o " + quoted(folder / "flat"));
    INFO(flat.err);
    REQUIRE(flat.status == 0);
    CHECK(filesIn(folder / "flat") == test::kLeaningFrames - test::kLeaningLost);
    CHECK_THAT(flat.err, Contains("frames 11 to 12 are left out: they can't be decoded"));
}

TEST_CASE("Chunks together equal the single run bit for bit, maps included") {
    const std::string command = GENERATE("flatten", "unflatten");
    const Folder folder;
    test::writeClip(folder / "clips", "cam1", {}, 1001, 1007);
    writeTrack(folder / "lens.csv", 0, 10, 4e-4);
    const auto job = [&](const std::string& name, const std::string& more) {
        return run(command + " " + quoted(folder / "clips/cam1.####.exr") + " --lens " +
                   quoted(folder / "lens.csv") + " --uv-map " + quoted(folder / (name + " maps")) +
                   " -o " + quoted(folder / name) + " " + more);
    };
    REQUIRE(job("whole", "").status <= 1);
    // In any order, and more of them than frames.
    const int of = GENERATE(3, 9);
    for (int k = of; k >= 1; --k)
        REQUIRE(job("parts", "--chunk " + std::to_string(k) + "/" + std::to_string(of)).status <=
                1);
    for (const char* what : {"", " maps"}) {
        size_t files = 0;
        const auto whole = folder / (std::string("whole") + what);
        const auto parts = folder / (std::string("parts") + what);
        for (const auto& entry : std::filesystem::directory_iterator(whole)) {
            CHECK(test::samePicture(parts / entry.path().filename(), entry.path()));
            ++files;
        }
        CHECK(files >= 7);
        CHECK(filesIn(parts) == files);
    }
}
