// plan: what it leaves on disk, and what it says to wishes that can't be.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "io/lens_track.h"
#include "io/solve_file.h"
#include "tests/program.h"

using namespace plateloom;
using namespace plateloom::test;

namespace {

const std::string kCamera = "plan --sensor 36x20.25 --size 2048x1152 --focal 28 ";

}  // namespace

TEST_CASE("A plan's report, poses and JSON tell of the same shots", "[plan]") {
    const Folder folder;
    const auto made = run("--json " + kCamera + "--tilt -20:40 --name 'a, b.####.exr' -o " +
                          quoted(folder / "plan"));
    REQUIRE(made.status == 0);
    const auto json = nlohmann::json::parse(made.out);
    const auto report = io::readCameraReport(folder / "plan" / "report.csv");
    const auto poses = io::readSolve(folder / "plan" / "poses.jsonl");
    CHECK(report.warnings.empty());
    REQUIRE(json["shots"].size() == report.lines.size());
    REQUIRE(json["shots"].size() == poses.size());
    CHECK(json["shots"].size() == json["plates"].get<size_t>());
    for (size_t i = 0; i < poses.size(); ++i) {
        const auto& shot = json["shots"][i];
        CHECK(report.lines[i].file == shot["file"]);
        CHECK(poses[i].file == shot["file"]);
        CHECK(*report.lines[i].pan_deg == shot["pan_deg"].get<double>());
        CHECK(*report.lines[i].tilt_deg == shot["tilt_deg"].get<double>());
        CHECK(poses[i].pose.pan_deg == Approx(shot["pan_deg"].get<double>()));
        CHECK(poses[i].lens.focal_mm == 28);
        CHECK_FALSE(report.lines[i].t_stop);
    }
    CHECK(io::readLensTrack(folder / "plan" / "poses.jsonl").samples.size() == poses.size());
    const std::string page = contents(folder / "plan" / "plan.html");
    CHECK(page.find("a, b.1001.exr") != std::string::npos);
    CHECK(page.find("http") == page.find("http://www.w3.org/2000/svg"));  // nothing is fetched
}

TEST_CASE("A lens track gives the plan its lens and sensor", "[plan]") {
    const Folder folder;
    put(folder / "lens.csv",
        "focal_mm,sensor_width_mm,sensor_height_mm,k1\n26,36,20.25,4e-4\n26.5,36,20.25,4e-4\n");
    const auto barrel = run("--json plan --lens " + quoted(folder / "lens.csv"));
    const auto pinhole = run("--json plan --sensor 36x20.25 --focal 26.5");
    REQUIRE(barrel.status == 0);
    REQUIRE(pinhole.status == 0);
    CHECK(barrel.err.find("lens.csv:3") != std::string::npos);
    CHECK(nlohmann::json::parse(barrel.out)["plates"] <
          nlohmann::json::parse(pinhole.out)["plates"]);
}

TEST_CASE("A wish that can't be met is status 1, and nothing is written", "[plan]") {
    const Folder folder;
    const auto same = run("--json " + kCamera + "--overlap 100 -o " + quoted(folder / "plan"));
    CHECK(same.status == 1);
    CHECK(same.err.find("100 %") != std::string::npos);
    CHECK(nlohmann::json::parse(same.out)["plates"] == 0);
    CHECK_FALSE(std::filesystem::exists(folder / "plan"));
}

TEST_CASE("Options that make no sense are refused, each with its name", "[plan]") {
    struct Bad {
        std::string arguments;
        int status;
        std::string said;
    };
    const Folder folder;
    put(folder / "empty.csv", "");
    put(folder / "no_focal.csv", "k1\n1e-4\n");
    for (const Bad& bad : {Bad{"plan --sensor 36x20.25 --focal 0", 2, "--focal"},
                           Bad{"plan --sensor 36x20.25 --focal -5", 2, "--focal"},
                           Bad{kCamera + "--overlap 130", 2, "--overlap"},
                           Bad{kCamera + "--overlap much", 2, "--overlap"},
                           Bad{kCamera + "--nearest 0", 2, "--nearest"},
                           Bad{kCamera + "--wide", 2, "--wide"},
                           Bad{"plan --focal 28", 2, "--sensor"},
                           Bad{"plan --sensor 36x20.25", 2, "--focal"},
                           Bad{"plan --sensor 36 --focal 28", 2, "--sensor"},
                           Bad{"plan --sensor 0x20 --focal 28", 2, "--sensor"},
                           Bad{"plan --sensor 36x20.25 --focal 28 --size 0x10", 2, "--size"},
                           Bad{"plan --sensor 36x20.25 --focal 28 --size 4k", 2, "--size"},
                           Bad{kCamera + "--tilt 40:-40", 2, "tilt"},
                           Bad{kCamera + "--tilt -120:40", 2, "tilt"},
                           Bad{kCamera + "--tilt up", 2, "--tilt"},
                           Bad{kCamera + "--pan 0:400", 2, "pan"},
                           Bad{kCamera + "--pan nan:10", 2, "--pan"},
                           Bad{kCamera + "--pan 10:10", 2, "pan"},
                           Bad{kCamera + "--lens x.csv", 2, "--focal"},
                           Bad{"plan --lens " + quoted(folder / "missing.csv"), 3, "missing.csv"},
                           Bad{"plan --lens " + quoted(folder / "empty.csv"), 3, "empty.csv"},
                           Bad{"plan --sensor 36x20 --lens " + quoted(folder / "no_focal.csv"), 3,
                               "no_focal.csv"}}) {
        const auto answer = run(bad.arguments);
        CAPTURE(bad.arguments, answer.err);
        CHECK(answer.status == bad.status);
        CHECK(answer.err.find(bad.said) != std::string::npos);
        CHECK(answer.out.empty());
    }
}

TEST_CASE("A folder that can't be made is status 4", "[plan]") {
    const Folder folder;
    put(folder / "taken", "kept");
    const auto answer = run(kCamera + "-o " + quoted(folder / "taken" / "plan"));
    CHECK(answer.status == 4);
    CHECK(answer.err.find("taken/plan: a file stands where this folder should be: name another") !=
          std::string::npos);
    CHECK(contents(folder / "taken") == "kept");
}
