#include "tests/pages/chromium.h"
#include "tests/shoot_on_disk.h"

using namespace plateloom;
using namespace plateloom::test;

namespace {

json surveyOn(Chromium& chromium) {
    return chromium.run("JSON.parse(document.getElementById('survey').textContent)");
}

}  // namespace

TEST_CASE("solve and stitch write a page of what they found", "[page][report]") {
    const Folder folder;
    const std::string job =
        " " + quoted(ring().plates()) + " --lens " + quoted(ring().track()) + " --json --report ";
    const std::string solve = quoted(folder / "s.jsonl");
    const ProgramRun ran[] = {
        run("solve" + job + quoted(folder / "solve") + " -o " + solve),
        run("stitch" + job + quoted(folder / "stitch") + " --solve " + solve + " -o " +
            quoted(folder / "p.exr") + " --width 1024 --projection cylindrical")};
    Chromium chromium;
    for (const auto& one : ran) {
        INFO(one.err);
        REQUIRE(one.status == 0);
        const json summary = json::parse(one.out);
        const std::string command = summary.at("command");
        CHECK(one.err.find(command + "/index.html") != std::string::npos);
        CHECK(std::distance(std::filesystem::directory_iterator(folder / command), {}) == 1);
        const auto page = folder / command / "index.html";
        CHECK(std::filesystem::file_size(page) < 3'000'000);
        chromium.show(page, {});
        CHECK(chromium.complaints().empty());
        const json survey = surveyOn(chromium);
        CHECK(survey.at("command") == command);
        CHECK(survey.at("status") == 0);
        REQUIRE(survey.at("plates").size() == summary.at("plates").size());
        for (size_t i = 0; i < summary.at("plates").size(); ++i)
            for (const char* field : {"file", "pan_deg", "tilt_deg", "ties", "rms_px"})
                CHECK(survey.at("plates")[i].at(field) == summary.at("plates")[i].at(field));
        // Every plate has its picture, and the panorama is a whole sphere whatever was stitched.
        CHECK(chromium.run("document.querySelectorAll('.card img').length") ==
              summary.at("plates").size());
        CHECK(survey.at("quick_panorama") == json{{"width", 2048}, {"height", 1024}});
        CHECK(chromium.run("document.getElementById('view').clientHeight") > 200);
    }
}

TEST_CASE("a report that can't be written ends the job before it begins", "[page][report]") {
    const Folder folder;
    put(folder / "in the way", "a file");
    const ProgramRun ran =
        run("solve " + quoted(ring().plates()) + " --lens " + quoted(ring().track()) +
            " --report " + quoted(folder / "in the way") + " -o " + quoted(folder / "s.jsonl"));
    CHECK(ran.status == 4);
    CHECK(ran.err.find("in the way: a file stands where this folder should be") !=
          std::string::npos);
    CHECK_FALSE(std::filesystem::exists(folder / "s.jsonl"));
    CHECK(contents(folder / "in the way") == "a file");
}
