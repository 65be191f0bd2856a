// The plate unit's check on rendered shoots whose truth is known: what went wrong is found, and
// nothing else is cried about.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "tests/shoot_on_disk.h"
#include "world/flaws.h"

using namespace plateloom;
using test::quoted;

namespace {

nlohmann::json checkOf(const std::string& arguments, int status) {
    const auto result = test::run("check --json " + arguments);
    INFO(result.err);
    REQUIRE(result.status == status);
    return nlohmann::json::parse(result.out);
}

size_t graveOf(const nlohmann::json& survey, const std::string& kind) {
    size_t count = 0;
    for (const auto& finding : survey["findings"])
        count += finding["kind"] == kind && finding["grave"].get<bool>();
    return count;
}

bool names(const nlohmann::json& survey, const std::string& kind, const std::string& file) {
    for (const auto& finding : survey["findings"])
        if (finding["kind"] == kind)
            for (const auto& plate : finding["plates"])
                if (plate == file) return true;
    return false;
}

}  // namespace

TEST_CASE("A check finds all that went wrong in a shoot, and nothing else") {
    auto settings = world::steadySettings(3);
    settings.width_px = 1024;
    settings.height_px = 576;
    const auto flawed = world::flawedShoot(settings, world::allFlaws(), 3);
    const test::Folder folder;
    world::writeShoot(folder.path(), flawed.shoot, {}, true);
    const auto survey = checkOf(quoted(folder.path()) + " --lens " + quoted(folder / "lens.jsonl") +
                                    " --camera-report " + quoted(folder / "report.csv"),
                                1);
    size_t grave = 0;
    std::string said;
    for (const auto& finding : survey["findings"]) {
        grave += finding["grave"].get<bool>();
        said += finding["text"].get<std::string>() + "\n";
    }
    INFO(said);
    CHECK(grave == flawed.flaws.size());
    for (const auto& flaw : flawed.flaws) {
        CAPTURE(world::nameOf(flaw.kind), flaw.file);
        switch (flaw.kind) {
            case world::Flaw::Kind::hole:
                REQUIRE(survey["holes"].size() == 1);
                CHECK(survey["holes"][0]["pan_deg"] == Approx(flaw.pose.pan_deg).margin(8));
                CHECK(survey["holes"][0]["tilt_deg"] == Approx(flaw.pose.tilt_deg).margin(8));
                break;
            case world::Flaw::Kind::soft:
                CHECK(names(survey, "blur", flaw.file));
                break;
            case world::Flaw::Kind::iris_unsaid:
                CHECK(names(survey, "exposure", flaw.file));
                break;
            case world::Flaw::Kind::off_pupil:
                CHECK(graveOf(survey, "parallax") == 1);
                break;
            case world::Flaw::Kind::lost_sample:
                CHECK(names(survey, "sample", flaw.file));
                break;
            default:
                FAIL("a flaw that nobody asked for");
        }
    }
}

TEST_CASE("A check of a sound ring holds, and its figures are the truth's") {
    auto settings = test::ringSettings();
    settings.focus_moves = settings.iris_moves = false;
    const test::Folder folder;
    const auto ring = test::writeShoot(settings, folder.path());
    const auto survey = checkOf(quoted(ring.plates()) + " --lens " + quoted(ring.track()), 0);
    CHECK(survey["status"] == 0);
    CHECK(survey["holes"].empty());
    CHECK(survey["findings"].empty());
    REQUIRE(survey["plates"].size() == ring.shoot.plates.size());
    for (const auto& plate : survey["plates"]) CHECK(plate["placed"] == true);
    CHECK(survey["pairs"].size() >= 8);
}
