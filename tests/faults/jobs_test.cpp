// Bad input and bad luck, on the whole program: a clear line, the right exit status, nothing lost.
#include <sys/mount.h>
#include <unistd.h>

#include <OpenImageIO/imagebuf.h>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>

#include "tests/shoot_on_disk.h"

using namespace plateloom;
using test::Folder;
using test::quoted;
using test::ring;
using test::run;
namespace fs = std::filesystem;

namespace {

std::string withTrack() {
    return " --lens " + quoted(ring().track());
}

std::string platesFromTo(size_t first, size_t last) {
    std::string list;
    for (size_t i = first; i <= last; ++i) list += " " + quoted(ring().plate(i));
    return list;
}

bool says(const std::string& text, const std::string& what) {
    return text.find(what) != std::string::npos;
}

// One or two lines, and none of a library's inner words.
void checkPolite(const test::ProgramRun& result) {
    INFO(result.err);
    CHECK(std::count(result.err.begin(), result.err.end(), '\n') <= 4);
    for (const char* word :
         {"terminate", "what()", "Assertion", "OIIO", "cv::", "nlohmann", "basic_string"})
        CHECK_FALSE(says(result.err, word));
}

std::vector<std::string> names(const fs::path& folder) {
    std::vector<std::string> found;
    for (const auto& entry : fs::directory_iterator(folder))
        found.push_back(entry.path().filename());
    std::sort(found.begin(), found.end());
    return found;
}

// A plate of the ring, changed and written again under the same name in another folder.
template <class Change>
fs::path changedPlate(size_t i, const Folder& folder, Change change) {
    OIIO::ImageBuf plate(ring().plate(i).string());
    REQUIRE(plate.read(0, 0, true, OIIO::TypeDesc::FLOAT));
    change(plate);
    const auto path = folder / ring().shoot.plates[i].file;
    REQUIRE(plate.write(path.string(), OIIO::TypeDesc::HALF));
    return path;
}

}  // namespace

TEST_CASE("A wrong command line is status 2 and help is status 0") {
    CHECK(run("").status == 2);
    CHECK(run("stich x").status == 2);
    CHECK(run("stitch").status == 2);
    CHECK(run("stitch a.exr -o b.exr --projection conical").status == 2);
    const auto help = run("stitch --help");
    CHECK(help.status == 0);
    CHECK(says(help.out, "--projection"));
}

TEST_CASE("Files that are missing, empty, cut short or no pictures are named, status 3") {
    const Folder folder;
    test::put(folder / "empty.exr", "");
    test::put(folder / "words.exr", "this is not a picture");
    const auto whole = test::contents(ring().plate(0));
    test::put(folder / "cut.exr", whole.substr(0, whole.size() / 2));
    for (const char* name : {"missing.exr", "empty.exr", "words.exr", "cut.exr"}) {
        const auto result = run("stitch " + quoted(folder / name) + platesFromTo(1, 2) + " -o " +
                                quoted(folder / "pano.exr"));
        INFO(name << ": " << result.err);
        CHECK(result.status == 3);
        CHECK(says(result.err, name));
        CHECK_FALSE(fs::exists(folder / "pano.exr"));
        checkPolite(result);
    }
    fs::create_directory(folder / "nothing here");
    const auto result =
        run("stitch " + quoted(folder / "nothing here") + " -o " + quoted(folder / "pano.exr"));
    CHECK(result.status == 3);
    CHECK(says(result.err, "nothing here"));
}

TEST_CASE("With --json a fault is also told to the machine") {
    const auto result = run("solve nowhere.exr -o x.jsonl --json");
    const auto told = nlohmann::json::parse(result.out);
    CHECK(told["status"] == 3);
    CHECK(says(told["error"], "nowhere.exr"));
}

TEST_CASE("Pixels that are not finite do not reach the panorama") {
    const Folder folder;
    const auto plate = changedPlate(1, folder, [](OIIO::ImageBuf& p) {
        for (int y = 100; y < 140; ++y)
            for (int x = 200; x < 260; ++x)
                for (int c = 0; c < 3; ++c) {
                    float* at = static_cast<float*>(p.pixeladdr(x, y)) + c;
                    *at = c == 0 ? std::numeric_limits<float>::quiet_NaN()
                                 : std::numeric_limits<float>::infinity();
                }
    });
    const auto out = folder / "pano.exr";
    const auto result = run("stitch " + quoted(ring().plate(0)) + " " + quoted(plate) +
                            platesFromTo(2, 3) + withTrack() + " --width 1024 -o " + quoted(out));
    INFO(result.err);
    CHECK(result.status == 0);
    OIIO::ImageBuf pano(out.string());
    REQUIRE(pano.read(0, 0, true, OIIO::TypeDesc::FLOAT));
    for (OIIO::ImageBuf::ConstIterator<float> p(pano); !p.done(); ++p)
        for (int c = 0; c < 4; ++c)
            if (!std::isfinite(p[c])) FAIL("not finite at " << p.x() << ", " << p.y());
}

TEST_CASE("A black plate is named and left out, the others are stitched, status 1") {
    const Folder folder;
    const auto black = changedPlate(2, folder, [](OIIO::ImageBuf& p) {
        for (OIIO::ImageBuf::Iterator<float> at(p); !at.done(); ++at)
            for (int c = 0; c < p.nchannels(); ++c) at[c] = 0;
    });
    const auto result = run("stitch" + platesFromTo(0, 1) + " " + quoted(black) + withTrack() +
                            " --width 1024 -o " + quoted(folder / "pano.exr"));
    INFO(result.err);
    CHECK(result.status == 1);
    CHECK(says(result.err, "left out: " + black.filename().string()));
    CHECK(fs::exists(folder / "pano.exr"));
}

TEST_CASE("The same plate twice counts once, and is said") {
    const Folder folder;
    const auto result = run("stitch" + platesFromTo(0, 2) + " " + quoted(ring().plate(1)) +
                            withTrack() + " --json --width 1024 -o " + quoted(folder / "pano.exr"));
    INFO(result.err);
    CHECK(result.status == 0);
    CHECK(nlohmann::json::parse(result.out)["placed"] == 3);
    CHECK(says(result.err, "warning"));
}

TEST_CASE("One plate alone becomes a panorama with one plate in it") {
    const Folder folder;
    const auto result = run("stitch" + platesFromTo(3, 3) + withTrack() +
                            " --json --width 1024 -o " + quoted(folder / "pano.exr"));
    INFO(result.err);
    CHECK(result.status == 0);
    const auto told = nlohmann::json::parse(result.out);
    CHECK(told["covered_share"].get<double>() > 0.03);
    CHECK(told["covered_share"].get<double>() < 0.2);
}

TEST_CASE("Two groups that do not overlap: both named, the larger composed, status 1") {
    const Folder folder;
    const auto result = run("stitch" + platesFromTo(0, 2) + platesFromTo(5, 6) + withTrack() +
                            " --json --width 1024 -o " + quoted(folder / "pano.exr"));
    INFO(result.err);
    CHECK(result.status == 1);
    const auto told = nlohmann::json::parse(result.out);
    CHECK(told["placed"] == 3);
    CHECK(told["groups"].size() == 2);
    CHECK(says(result.err, ring().shoot.plates[5].file));
    CHECK(says(result.err, ring().shoot.plates[6].file));
}

TEST_CASE("A plate of another size ties to the others") {
    const Folder folder;
    OIIO::ImageBuf plate(ring().plate(1).string());
    OIIO::ImageSpec spec = plate.spec();
    REQUIRE(std::system(("oiiotool " + quoted(ring().plate(1)) + " --resize 400x225 -d half -o " +
                         quoted(folder / ring().shoot.plates[1].file))
                            .c_str()) == 0);
    const auto result = run("stitch " + quoted(ring().plate(0)) + " " +
                            quoted(folder / ring().shoot.plates[1].file) + platesFromTo(2, 2) +
                            withTrack() + " --json --width 1024 -o " + quoted(folder / "pano.exr"));
    INFO(result.err);
    CHECK(result.status == 0);
    CHECK(nlohmann::json::parse(result.out)["placed"] == 3);
}

TEST_CASE("A missing output folder is found before the work, status 4") {
    const Folder folder;
    const auto result = run("stitch" + platesFromTo(0, 2) + withTrack() + " -o " +
                            quoted(folder / "no such folder" / "pano.exr"));
    CHECK(result.status == 4);
    CHECK(says(result.err, "no such folder"));
    CHECK(names(folder.path()).empty());
    checkPolite(result);
}

TEST_CASE("An output folder that is a file is refused, status 4") {
    const Folder folder;
    test::put(folder / "file", "x");
    const auto result =
        run("flatten" + platesFromTo(0, 0) + withTrack() + " -o " + quoted(folder / "file"));
    CHECK(result.status == 4);
    CHECK(test::contents(folder / "file") == "x");
    checkPolite(result);
}

TEST_CASE("A full disk is status 4 and leaves nothing behind") {
    const Folder folder;
    if (mount("none", folder.path().c_str(), "tmpfs", 0, "size=96k") != 0) {
        WARN("no right to mount a small file system here: not tested");
        return;
    }
    const auto flat =
        run("flatten" + platesFromTo(0, 0) + withTrack() + " -o " + quoted(folder.path()));
    const auto pano = run("stitch" + platesFromTo(0, 1) + withTrack() + " --width 2048 -o " +
                          quoted(folder / "pano.exr"));
    const auto left = names(folder.path());
    umount(folder.path().c_str());
    CHECK(flat.status == 4);
    CHECK(pano.status == 4);
    INFO(pano.err);
    CHECK(left.empty());
    checkPolite(flat);
    checkPolite(pano);
}

TEST_CASE(
    "Stopped by Ctrl-C or a scheduler, nothing half-written is left and what was there stays") {
    const Folder folder;
    test::put(folder / "pano.exr", "yesterday's");
    for (const char* signal : {"INT", "TERM"}) {
        const char* program = std::getenv("PLATELOOM");
        REQUIRE(program);
        // Width and depth large enough that it is still composing when the signal comes.
        const std::string command =
            "set -m; " + quoted(program) + " stitch" + platesFromTo(0, 7) + withTrack() +
            " --width 16384 --depth float --overwrite -o " + quoted(folder / "pano.exr") +
            " 2>/dev/null & pid=$!; for i in $(seq 400); do sleep 0.05; ls -A " +
            quoted(folder.path()) + " | grep -qv '^pano.exr$' && break; done; kill -" + signal +
            " $pid; wait $pid";
        const Folder scripts;
        test::put(scripts / "stop", command);
        CHECK(std::system(("bash " + quoted(scripts / "stop") + " 2>/dev/null").c_str()) != 0);
        CHECK(names(folder.path()) == std::vector<std::string>{"pano.exr"});
        CHECK(test::contents(folder / "pano.exr") == "yesterday's");
    }
}

TEST_CASE("Flattening a folder into itself is refused before anything is written") {
    const auto before = test::contents(ring().plate(0));
    const auto result =
        run("flatten" + platesFromTo(0, 1) + withTrack() + " -o " + quoted(ring().plates()));
    CHECK(result.status == 2);
    CHECK(test::contents(ring().plate(0)) == before);
}

TEST_CASE("A track with too few samples or of another take is refused, status 3") {
    const Folder folder;
    test::put(
        folder / "other.jsonl",
        R"({"protocol":{"name":"OpenTrackIO","version":[1,0,0]},"static":{"camera":{"activeSensorPhysicalDimensions":{"width":36,"height":20.25}}},"timing":{"timecode":{"hours":22,"minutes":0,"seconds":0,"frames":0,"frameRate":{"num":24000,"denom":1001}}},"lens":{"pinholeFocalLength":24,"distortion":[{"radial":[0.0001]}]}})"
        "\n");
    const auto result = run("stitch" + platesFromTo(0, 2) + " --lens " +
                            quoted(folder / "other.jsonl") + " -o " + quoted(folder / "pano.exr"));
    INFO(result.err);
    CHECK(result.status == 3);
    CHECK(says(result.err, "timecode"));
    checkPolite(result);
}

TEST_CASE("A plate that is largely NaN is told of with its share, status 1") {
    const Folder folder;
    const auto plate = changedPlate(1, folder, [](OIIO::ImageBuf& p) {
        for (OIIO::ImageBuf::Iterator<float> at(p); !at.done(); ++at)
            if (at.y() < 0.42 * p.spec().height) at[1] = std::numeric_limits<float>::quiet_NaN();
    });
    const auto result =
        run("stitch " + quoted(ring().plate(0)) + " " + quoted(plate) + platesFromTo(2, 3) +
            withTrack() + " --width 1024 -o " + quoted(folder / "pano.exr"));
    INFO(result.err);
    CHECK(result.status == 1);
    CHECK(says(result.err, plate.filename().string() + ": "));
    CHECK(says(result.err, "(42.2 %) are not finite"));
}
