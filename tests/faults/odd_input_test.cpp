// Names, numbers and files that nobody means to give, on the whole program.
#include <OpenImageIO/imagebuf.h>
#include <sys/resource.h>
#include <sys/stat.h>

#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "tests/shoot_on_disk.h"

using namespace plateloom;
using test::contents;
using test::Folder;
using test::put;
using test::quoted;
using test::ring;
using test::run;
namespace fs = std::filesystem;

namespace {

bool says(const std::string& text, const std::string& what) {
    return text.find(what) != std::string::npos;
}

std::string track() {
    return " --lens " + quoted(ring().track()) + " ";
}

// Bounded memory and time for a program that might take all of it.
test::ProgramRun bounded(const std::string& arguments) {
    const Folder folder;
    const std::string command =
        "ulimit -v 4000000; timeout 60 " + quoted(std::getenv("PLATELOOM")) + " " + arguments +
        " >" + quoted(folder / "out") + " 2>" + quoted(folder / "err") + " </dev/null";
    const int code = std::system(command.c_str());
    test::ProgramRun result;
    result.status = WIFEXITED(code) ? WEXITSTATUS(code) : 128 + WTERMSIG(code);
    result.out = contents(folder / "out");
    result.err = contents(folder / "err");
    return result;
}

}  // namespace

TEST_CASE("A plate whose name is no UTF-8 is solved, told in JSON and found again", "[names]") {
    const Folder folder;
    std::string plates;
    for (const size_t i : {0, 1}) {
        const auto plate = folder / ("pl\xff\xe4te.100" + std::to_string(i) + ".exr");
        fs::copy_file(ring().plate(i), plate);
        plates += " " + quoted(plate);
    }
    const auto solve = folder / "solve.jsonl";
    const auto solved = run("--json solve" + plates + track() + "-o " + quoted(solve));
    INFO(solved.err);
    CHECK(solved.status == 0);
    const auto told = nlohmann::json::parse(solved.out);
    CHECK(told["plates"][0]["file"] == "pl\xef\x9f\xbf\xef\x9f\xa4te.1000.exr");
    CHECK(says(solved.err, "of 2 plates placed"));
    const auto stitched = run("--json stitch" + plates + track() + "--width 512 --solve " +
                              quoted(solve) + " -o " + quoted(folder / "p\xff.exr"));
    INFO(stitched.err);
    CHECK(stitched.status == 0);
    CHECK(nlohmann::json::parse(stitched.out)["placed"] == 2);
    CHECK(fs::exists(folder / "p\xff.exr"));
    const auto missing = run("--json solve 'no\xff.exr' -o " + quoted(folder / "x.jsonl"));
    CHECK(missing.status == 3);
    CHECK(nlohmann::json::parse(missing.out)["status"] == 3);
}

TEST_CASE("Control characters in a name do not reach the terminal", "[names]") {
    const auto result = run("solve \"$(printf 'a\\033[2Jb.exr')\" -o x.jsonl");
    CHECK(result.status == 3);
    CHECK_FALSE(says(result.err, "\x1b"));
    CHECK(says(result.err, "a\\x1b[2Jb.exr"));
}

TEST_CASE("A frame number far from all others is named, in bounded memory", "[names]") {
    const Folder folder;
    for (const char* number : {"1001", "1002", "20240101123045"})
        fs::copy_file(ring().plate(0), folder / ("cam1." + std::string(number) + ".exr"));
    for (const std::string command : {"check", "solve -o x.jsonl"}) {
        const auto result = bounded(command + " " + quoted(folder.path()) + " --clips array");
        INFO(result.err);
        CHECK(result.status == 3);
        CHECK(says(result.err, "cam1.20240101123045.exr"));
    }
    put(folder / "camera.csv",
        "frame,pan_deg,tilt_deg,roll_deg,focal_mm\n1001,0,0,0,30\n20240101123045,1,0,0,30\n");
    REQUIRE(run("stitch " + quoted(ring().plate(0)) + track() + "--width 256 --no-preview -o " +
                quoted(folder / "pano.exr"))
                .status == 0);
    const auto view = bounded(
        "view " + quoted(folder / "pano.exr") + " --camera " + quoted(folder / "camera.csv") +
        " --sensor 36x20.25 --size 64x36 -o " + quoted(folder / "bg.####.exr"));
    INFO(view.err);
    CHECK(view.status == 3);
    CHECK(says(view.err, "camera.csv"));
    CHECK(says(view.err, "20240101123045"));
}

TEST_CASE("Options are judged before any work", "[options]") {
    const std::string stitch = "stitch missing.exr -o x.exr ";
    CHECK(run(stitch + "--tile 300").status == 2);
    CHECK(run(stitch + "--tile 512").status == 3);
    CHECK(run(stitch + "--threads 100000").status == 2);
    CHECK(run("solve missing.exr -o x.jsonl --threads 2147483647").status == 2);
    for (const char* focal : {"nan", "inf", "-1", "0", "1e999", "28mm"})
        CHECK(run(stitch + "--focal " + focal).status == 2);
    CHECK(run(stitch + "--sensor infx1").status == 2);
    CHECK(run(stitch + "--sensor nan").status == 2);
    CHECK(run(stitch + "--frames 1100-1001").status == 2);
    CHECK(run("check missing.exr --nearest nan").status == 2);
    CHECK(run("check missing.exr --tilt nan:3").status == 2);
    const std::string view = "view missing.exr -o x.exr ";
    CHECK(run(view + "--pose nan,0").status == 2);
    CHECK(run(view + "--pose 0,0 --size wide").status == 2);
    CHECK(run(view + "--tilt inf:3").status == 2);
    CHECK(run(view + "--first-frame 9223372036854775807").status == 2);
    CHECK(run(view + "--pose -3.5e1,0").status == 3);
}

TEST_CASE("A picture one pixel high among good plates is named and left out", "[plates]") {
    const Folder folder;
    OIIO::ImageBuf strip(OIIO::ImageSpec(5000, 1, 3, OIIO::TypeDesc::HALF));
    REQUIRE(strip.write((folder / "strip.exr").string()));
    for (const std::string& command :
         {"solve -o " + quoted(folder / "solve.jsonl"),
          "stitch --width 512 -o " + quoted(folder / "pano.exr"), std::string("check")}) {
        const auto result = run(command + " " + quoted(ring().plate(0)) + " " +
                                quoted(ring().plate(1)) + " " + quoted(folder / "strip.exr"));
        INFO(command << ": " << result.err);
        CHECK((result.status == 1 || result.status == 3));
        CHECK(says(result.err, "strip.exr"));
        CHECK_FALSE(says(result.err, "OpenCV"));
    }
}

TEST_CASE("Pipes are refused by name rather than waited for", "[plates]") {
    const Folder folder;
    const auto pipe = folder / "pipe.exr";
    REQUIRE(::mkfifo(pipe.c_str(), 0600) == 0);
    const auto plate = bounded("solve " + quoted(pipe) + " -o " + quoted(folder / "x.jsonl"));
    CHECK(plate.status == 3);
    CHECK(says(plate.err, "pipe.exr: this is a pipe"));
    REQUIRE(::mkfifo((folder / "lens.jsonl").c_str(), 0600) == 0);
    const auto lens = bounded("solve " + quoted(ring().plate(0)) + " --lens " +
                              quoted(folder / "lens.jsonl") + " -o " + quoted(folder / "x.jsonl"));
    INFO(lens.err);
    CHECK(lens.status == 3);
    CHECK(says(lens.err, "lens.jsonl: is a pipe"));
}
