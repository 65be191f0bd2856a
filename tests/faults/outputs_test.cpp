// What a command must never write over: its inputs, its other outputs, and what somebody else made
// or changed.
#include <OpenImageIO/imagebuf.h>
#include <catch2/catch.hpp>

#include "tests/faults/injected/small_jobs.h"

using namespace plateloom;
using test::contents;
using test::Folder;
using test::put;
using test::quoted;
using test::ring;
using test::run;
namespace fs = std::filesystem;

namespace {

// Plates of the ring in a folder that a test may write to, with their track.
struct Shoot {
    Folder folder;
    std::vector<fs::path> plates;
    fs::path track;
    std::string arguments;

    explicit Shoot(size_t count = 2) : track(folder / "lens.jsonl") {
        fs::create_directory(folder / "plates");
        fs::copy_file(ring().track(), track);
        for (size_t i = 0; i < count; ++i) {
            plates.push_back(folder.path() / "plates" / ring().shoot.plates[i].file);
            fs::copy_file(ring().plate(i), plates.back());
        }
        arguments = " " + quoted(folder / "plates") + " --lens " + quoted(track) + " ";
    }
};

test::ProgramRun stitch(const Shoot& shoot, const std::string& more) {
    return run("stitch" + shoot.arguments + "--width 512 " + more);
}

void checkRefused(const test::ProgramRun& result, const std::string& named) {
    INFO(result.err);
    CHECK(result.status == 2);
    CHECK(result.err.find(named) != std::string::npos);
    CHECK(std::count(result.err.begin(), result.err.end(), '\n') <= 2);
}

}  // namespace

TEST_CASE("No command writes over one of its inputs, --overwrite or not", "[outputs]") {
    const Shoot shoot;
    const auto plate = contents(shoot.plates[0]), track = contents(shoot.track);
    put(shoot.folder / "report.csv", "file,pan_deg,tilt_deg\n");
    std::string camera = "frame,pan_deg,tilt_deg,roll_deg,focal_mm\n";
    for (const auto& path : shoot.plates)
        camera += path.stem().extension().string().substr(1) + ",0,0,0,30\n";
    put(shoot.folder / "camera.csv", camera);
    const auto pano = shoot.folder / "pano.exr";
    REQUIRE(stitch(shoot, "-o " + quoted(pano)).status == 0);
    const auto panorama = contents(pano);
    fs::create_symlink(shoot.plates[0], shoot.folder / "link.exr");
    const std::string still = " --pose 0,0 --focal 30 --sensor 36x20.25 --size 64x36 ";
    for (const std::string overwrite : {"", " --overwrite"}) {
        INFO(overwrite);
        checkRefused(stitch(shoot, "-o " + quoted(shoot.plates[0]) + overwrite), "input");
        checkRefused(stitch(shoot, "-o " + quoted(shoot.folder / "link.exr") + overwrite), "input");
        checkRefused(stitch(shoot, "--preview " + quoted(shoot.plates[1]) + " -o " +
                                       quoted(shoot.folder / "new.exr") + overwrite),
                     "input");
        checkRefused(run("view " + quoted(pano) + still + "-o " + quoted(pano) + overwrite),
                     "input");
        checkRefused(
            run("view " + quoted(pano) + " --sensor 36x20.25 --camera " +
                quoted(shoot.folder / "camera.csv") + " --shot " + quoted(shoot.folder / "plates") +
                " -o " + quoted(shoot.folder / "plates/plate.####.exr") + overwrite),
            "input");
        checkRefused(
            run("flatten" + shoot.arguments + "-o " + quoted(shoot.folder / "plates") + overwrite),
            "input");
        checkRefused(run("unflatten" + shoot.arguments + "-o " + quoted(shoot.folder / "plates") +
                         overwrite),
                     "input");
        checkRefused(run("solve" + shoot.arguments + "-o " + quoted(shoot.track) + overwrite),
                     "input");
        checkRefused(run("solve" + shoot.arguments + "--camera-report " +
                         quoted(shoot.folder / "report.csv") + " -o " +
                         quoted(shoot.folder / "report.csv") + overwrite),
                     "input");
        checkRefused(run("calibrate chart " + quoted(shoot.plates[0]) +
                         " --squares 9x6 --sensor 36 -o " + quoted(shoot.plates[0]) + overwrite),
                     "input");
        put(shoot.folder / "options.toml", "[solve]\n");
        checkRefused(
            run("--config " + quoted(shoot.folder / "options.toml") + " solve" + shoot.arguments +
                "-o " + quoted(shoot.folder / "options.toml") + overwrite),
            "input");
    }
    CHECK(contents(shoot.plates[0]) == plate);
    CHECK(contents(shoot.track) == track);
    CHECK(contents(pano) == panorama);
    CHECK(contents(shoot.folder / "report.csv") == "file,pan_deg,tilt_deg\n");
}

TEST_CASE("Two outputs of a command are never one file", "[outputs]") {
    const Shoot shoot;
    const auto same = quoted(shoot.folder / "same.exr");
    checkRefused(stitch(shoot, "-o " + same + " --solve " + same), "same.exr");
    checkRefused(stitch(shoot, "-o " + same + " --preview " + quoted(shoot.folder / "SAME.EXR")),
                 "same.exr");
    CHECK_FALSE(fs::exists(shoot.folder / "same.exr"));
}

TEST_CASE("A file that a command did not make is replaced with --overwrite only", "[outputs]") {
    const Shoot shoot(3);
    // The shell turned the first plate into the output.
    const auto first = contents(shoot.plates[0]);
    const std::string rest = "stitch " + quoted(shoot.plates[1]) + " " + quoted(shoot.plates[2]) +
                             " --lens " + quoted(shoot.track) + " --width 512 -o " +
                             quoted(shoot.plates[0]);
    checkRefused(run(rest), "--overwrite");
    CHECK(contents(shoot.plates[0]) == first);
    // The original beside its proxy.
    fs::create_directory(shoot.folder / "proxies");
    const std::string name = shoot.plates[0].stem().string();
    OIIO::ImageBuf proxy(shoot.plates[0].string());
    REQUIRE(proxy.write((shoot.folder / "proxies" / (name + ".jpg")).string()));
    const auto original = shoot.folder / "proxies" / (name + ".exr");
    fs::copy_file(shoot.plates[0], original);
    put(shoot.folder / "one.jsonl",
        contents(shoot.track).substr(0, contents(shoot.track).find('\n') + 1));
    const std::string flatten = "flatten " + quoted(shoot.folder / "proxies" / (name + ".jpg")) +
                                " --lens " + quoted(shoot.folder / "one.jsonl") + " -o " +
                                quoted(shoot.folder / "proxies");
    checkRefused(run(flatten), "--overwrite");
    CHECK(contents(original) == first);
    CHECK(run(flatten + " --overwrite").status == 0);
    CHECK(contents(original) != first);
    // A preview, a page, a solve file.
    put(shoot.folder / "pano.preview.png", "mine");
    checkRefused(stitch(shoot, "-o " + quoted(shoot.folder / "pano.exr")), "pano.preview.png");
    put(shoot.folder / "index.html", "mine");
    checkRefused(stitch(shoot, "--no-preview -o " + quoted(shoot.folder / "pano.exr") +
                                   " --report " + quoted(shoot.folder.path())),
                 "index.html");
    checkRefused(run("check" + shoot.arguments + "--report " + quoted(shoot.folder.path())),
                 "index.html");
    put(shoot.folder / "old.jsonl", "mine");
    checkRefused(run("solve" + shoot.arguments + "-o " + quoted(shoot.folder / "old.jsonl")),
                 "old.jsonl");
    CHECK(contents(shoot.folder / "pano.preview.png") == "mine");
    CHECK(contents(shoot.folder / "index.html") == "mine");
    CHECK(contents(shoot.folder / "old.jsonl") == "mine");
    CHECK_FALSE(fs::exists(shoot.folder / "pano.exr"));
}

TEST_CASE("A command replaces what it made itself, until somebody changes it", "[outputs]") {
    const Shoot shoot;
    const auto pano = shoot.folder / "pano.exr", solve = shoot.folder / "solve.jsonl";
    const std::string stitched =
        "-o " + quoted(pano) + " --report " + quoted(shoot.folder / "page");
    const std::string solved = "solve" + shoot.arguments + "-o " + quoted(solve);
    for (int i = 0; i < 2; ++i) {
        CHECK(stitch(shoot, stitched).status == 0);
        CHECK(run(solved).status == 0);
    }
    // A hand-corrected solve, a painted panorama.
    put(solve, contents(solve) + "\n");
    checkRefused(run(solved), "was changed");
    auto painted = contents(pano);
    painted[painted.size() / 2] = char(painted[painted.size() / 2] ^ 1);
    put(pano, painted);
    checkRefused(stitch(shoot, stitched), "was changed");
    CHECK(contents(pano) == painted);
    CHECK(stitch(shoot, stitched + " --overwrite").status == 0);
    CHECK(run(solved + " --overwrite").status == 0);
    CHECK(stitch(shoot, stitched).status == 0);
    // Another command's work.
    checkRefused(run("solve" + shoot.arguments + "-o " + quoted(pano)), "did not make");
}

TEST_CASE("A camera report that was filled in is not replaced by another plan", "[outputs]") {
    const Folder folder;
    const std::string plan =
        "plan --sensor 36x20.25 --size 2048x1152 --focal 28 -o " + quoted(folder.path());
    REQUIRE(run(plan).status == 0);
    REQUIRE(run(plan).status == 0);
    const auto report = folder / "report.csv";
    put(report, contents(report) + "plate.0001.exr,1,2,3\n");
    const auto filled = contents(report);
    checkRefused(run(plan), "report.csv");
    CHECK(contents(report) == filled);
    CHECK(run(plan + " --overwrite").status == 0);
    CHECK(contents(report) != filled);
}

TEST_CASE("Painted seams and the old solve outlive a solve that fails, and one that is repeated",
          "[outputs]") {
    test::SmallJobs jobs;
    jobs.addTake();
    const auto find = [&](const std::string& name) {
        return *std::find_if(jobs.jobs().begin(), jobs.jobs().end(),
                             [&](const auto& job) { return job.name == name; });
    };
    const auto solve = find("solve clips");
    REQUIRE(run(solve.arguments).status <= 1);
    REQUIRE(run(solve.arguments).status <= 1);  // nobody changed anything
    const auto seams = jobs.folder() / "mount.seams";
    fs::path painted;
    for (const auto& entry : fs::directory_iterator(seams)) painted = entry.path();
    REQUIRE_FALSE(painted.empty());
    OIIO::ImageBuf picture(painted.string());
    REQUIRE(picture.read(0, 0, true, OIIO::TypeDesc::FLOAT));
    *static_cast<float*>(picture.pixeladdr(3, 3)) = 1;
    REQUIRE(picture.write(painted.string(), OIIO::TypeDesc::HALF));
    const auto with_paint = contents(painted), old = contents(jobs.folder() / "mount.jsonl");

    checkRefused(run(solve.arguments), "seams.");
    // No room: a file may have 512 bytes.
    const std::string cramped = "ulimit -f 1; " + quoted(std::getenv("PLATELOOM")) + " " +
                                solve.arguments + " --overwrite >/dev/null 2>&1";
    CHECK(WEXITSTATUS(std::system(cramped.c_str())) == 4);
    CHECK(contents(painted) == with_paint);
    CHECK(contents(jobs.folder() / "mount.jsonl") == old);
    CHECK(jobs.leftovers().empty());

    CHECK(run(solve.arguments + " --overwrite").status <= 1);
    CHECK(contents(painted) != with_paint);
}

TEST_CASE("Seams of another solve are noticed", "[outputs]") {
    test::SmallJobs jobs;
    jobs.addTake();
    const auto stitch = *std::find_if(jobs.jobs().begin(), jobs.jobs().end(),
                                      [](const auto& job) { return job.name == "stitch clips"; });
    // As if the run had been killed between two renames.
    auto text = contents(jobs.folder() / "still.jsonl");
    const size_t set = text.find("\"set\":\"");
    REQUIRE(set != std::string::npos);
    text[set + 7] = text[set + 7] == '0' ? '1' : '0';
    put(jobs.folder() / "still.jsonl", text);
    const auto result = run(stitch.arguments);
    CHECK(result.status == 3);
    CHECK(result.err.find("belongs to another solve") != std::string::npos);
}
