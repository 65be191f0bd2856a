// The check over clips of an array whose truth is known: what went wrong is found and told once,
// and nothing else is cried about.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "tests/program.h"
#include "world/array_recording.h"

using namespace plateloom;
using Catch::Contains;
using test::Folder;
using test::quoted;
using test::run;
namespace fs = std::filesystem;

namespace {

world::ArraySettings smallArray() {
    world::ArraySettings settings;
    settings.frames = 7;
    settings.width_px = 640;
    settings.height_px = 360;
    return settings;
}

test::ProgramRun check(const Folder& folder, int cameras, const std::string& more = "") {
    std::string clips, tracks;
    for (int i = 1; i <= cameras; ++i) {
        const std::string name = "cam" + std::to_string(i);
        clips += " " + quoted(folder / (name + ".####.exr"));
        tracks += " --lens " + quoted(folder / (name + ".jsonl"));
    }
    return run("check --json --clips array" + clips + tracks + " " + more);
}

// Texts of findings, the grave ones or the others.
std::string textsOf(const test::ProgramRun& result, bool grave) {
    std::string texts;
    const auto survey = nlohmann::json::parse(result.out);
    for (const auto& finding : survey["findings"])
        if (finding["grave"].get<bool>() == grave)
            texts += finding["text"].get<std::string>() + "\n";
    return texts;
}

}  // namespace

TEST_CASE("An array that holds is told to hold, whatever its irises do") {
    const Folder folder;
    world::writeTake(folder.path(), world::planArray(smallArray()));
    const auto result = check(folder, 5);
    INFO(result.err);
    CHECK(result.status == 0);
    CHECK_THAT(result.err, Contains("looked at frames 1001, 1004, 1007"));
    CHECK(textsOf(result, true).empty());
    CHECK_THAT(textsOf(result, false), Contains("cam2: its iris moves during the take"));
    CHECK_THAT(textsOf(result, false), !Contains("entrance pupil") && !Contains("again"));
    const auto survey = nlohmann::json::parse(result.out);
    CHECK(survey["plates"].size() == 5);

    // The same with a page, whose plates are those of the middle.
    REQUIRE(check(folder, 5, "--report " + quoted(folder / "page")).status == 0);
    CHECK_THAT(test::contents(folder / "page/index.html"), Contains("cam3.1004.exr"));
}

TEST_CASE("Black, missing and knocked: each is told once, by clip and frame") {
    auto settings = smallArray();
    settings.black = {{2, 1004, 1005}};
    settings.missing = {{4, 1002, 1003}};
    const Folder folder;
    world::writeTake(folder.path(), world::planArray(settings));
    const auto result = check(folder, 5);
    INFO(result.err);
    CHECK(result.status == 1);
    const std::string grave = textsOf(result, true);
    CHECK_THAT(grave, Contains("cam2: frames 1004-1005 are black"));
    CHECK_THAT(grave, Contains("cam4: frames 1002-1003 are missing"));
    CHECK(std::count(grave.begin(), grave.end(), '\n') == 2);
    // The plates that are looked at are whole ones.
    CHECK_THAT(result.err, Contains("looked at frames 1001, 1006-1007"));
}

TEST_CASE("Takes shot in turn are looked at as one camera's plates") {
    auto settings = smallArray();
    settings.frames = 3;
    settings.iris_camera = 0;
    settings.in_turn = true;
    settings.pupil_radius_m = 0;
    const Folder folder;
    world::writeTake(folder.path(), world::planArray(settings));
    std::string arguments;
    for (const auto& entry : fs::directory_iterator(folder.path()))
        if (entry.path().extension() == ".jsonl") arguments += " --lens " + quoted(entry.path());
    const auto result = run("check --json --clips in-turn " + quoted(folder.path()) + arguments);
    INFO(result.err);
    CHECK(result.status == 0);
    CHECK_THAT(result.err, Contains("tied in time by their first frames"));
    CHECK_THAT(result.err, !Contains("overlap, as if"));
    CHECK(nlohmann::json::parse(result.out)["plates"].size() == 5);
}
