// A check goes on where a job would stop: what is wrong with one plate is a finding about it.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>

#include "tests/shoot_on_disk.h"

using namespace plateloom;
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

void copyPlates(const fs::path& folder, size_t count) {
    for (size_t i = 0; i < count; ++i)
        fs::copy_file(ring().plate(i), folder / ring().plate(i).filename());
}

}  // namespace

TEST_CASE("A check of nothing, and with papers that are not there, is refused", "[check]") {
    const Folder folder;
    const auto empty = run("check " + quoted(folder.path()));
    CHECK(empty.status == 3);
    CHECK(says(empty.err, "no pictures"));
    copyPlates(folder.path(), 2);
    const auto none =
        run("check " + quoted(folder.path()) + " --lens " + quoted(folder / "no such track.jsonl"));
    CHECK(none.status == 3);
    CHECK(says(none.err, "no such track.jsonl"));
}

TEST_CASE("A damaged plate and one that is only in the report are findings; the rest is checked",
          "[check]") {
    const Folder folder;
    copyPlates(folder.path(), 3);
    const auto whole = test::contents(ring().plate(3));
    put(folder / "broken plate.exr", whole.substr(0, whole.size() / 3));
    put(folder / "notes.txt", "not a plate");
    const Folder papers;
    std::string report = "file,pan_deg,tilt_deg\nplate.9999.exr,0,0\n";
    put(papers / "report.csv", report);
    const auto result =
        run("check --json " + quoted(folder.path()) + " --lens " + quoted(ring().track()) +
            " --camera-report " + quoted(papers / "report.csv") + " --report " +
            quoted(papers / "the page"));
    INFO(result.err);
    CHECK(result.status == 1);
    const auto survey = nlohmann::json::parse(result.out);
    CHECK(survey["plates"].size() == 4);
    size_t damaged = 0, missing = 0;
    for (const auto& finding : survey["findings"]) {
        damaged += finding["kind"] == "damaged" && finding["plates"][0] == "broken plate.exr";
        missing += finding["kind"] == "missing_plate";
    }
    CHECK(damaged == 1);
    CHECK(missing == 1);
    CHECK(fs::file_size(papers / "the page" / "index.html") > 100000);
}

TEST_CASE("A report of another shoot is told as such, and the plates are checked without it",
          "[check]") {
    const Folder papers;
    put(papers / "report.csv", "file,pan_deg,tilt_deg\nother.0001.exr,0,0\nother.0002.exr,45,0\n");
    const auto result =
        run("check --json " + quoted(ring().plates()) + " --lens " + quoted(ring().track()) +
            " --camera-report " + quoted(papers / "report.csv"));
    INFO(result.err);
    CHECK(result.status == 1);
    const auto survey = nlohmann::json::parse(result.out);
    CHECK(survey["plates"].size() == ring().shoot.plates.size());
    size_t told = 0;
    for (const auto& finding : survey["findings"])
        told += says(finding["text"], "report.csv names none of the plates");
    CHECK(told == 1);
}

TEST_CASE("Wanted pans may go through 180, and ends that make no band are refused", "[check]") {
    const auto wanted = [](const std::string& pans) {
        return run("check --json " + quoted(ring().plates()) + " --lens " + quoted(ring().track()) +
                   " --pan " + pans);
    };
    const auto behind = wanted("150:-150");
    INFO(behind.err);
    const auto survey = nlohmann::json::parse(behind.out);
    CHECK(says(survey["cover"]["wanted"], "pan 210 to 150"));
    CHECK(survey["holes"].empty());
    for (const char* none : {"150:150", "-400:10", "a:b", "10", "0:361"}) {
        const auto refused = wanted(none);
        CHECK(refused.status == 2);
        CHECK(says(refused.err, "expected FROM:TO"));
    }
}

TEST_CASE("A watch takes each plate as it lands, waits for one half copied, and ends by a signal",
          "[check]") {
    const Folder folder, out;
    const char* program = std::getenv("PLATELOOM");
    REQUIRE(program);
    const auto third = ring().plate(2);
    const std::string arrivals =
        "cp " + quoted(ring().plate(0)) + " " + quoted(folder.path()) + "; await '1 plate$'; cp " +
        quoted(ring().plate(1)) + " " + quoted(folder.path()) + "; await '2 plates$'; head -c " +
        std::to_string(fs::file_size(third) / 2) + " " + quoted(third) + " >" +
        quoted(folder / third.filename()) + "; await 'waiting for the rest'; cp " + quoted(third) +
        " " + quoted(folder.path()) + "; await '3 plates$'; ";
    const std::string script = "await() { for i in $(seq 600); do grep -q \"$1\" " +
                               quoted(out / "err") + " && return; sleep 0.05; done; }; set -m; " +
                               quoted(program) + " check --watch " + quoted(folder.path()) +
                               " --lens " + quoted(ring().track()) + " --report " +
                               quoted(out / "page") + " 2>" + quoted(out / "err") + " & pid=$!; " +
                               arrivals + "kill -INT $pid; wait $pid";
    put(out / "script", script);
    const int code = std::system(("bash " + quoted(out / "script")).c_str());
    const std::string told = test::contents(out / "err");
    INFO(told);
    CHECK(WEXITSTATUS(code) == 130);
    CHECK(says(told, "1 plate\n"));
    CHECK(says(told, "2 plates\n"));
    CHECK(says(told, "waiting for the rest of"));
    CHECK(says(told, "3 plates\n"));
    std::vector<std::string> left;
    for (const auto& entry : fs::directory_iterator(out / "page"))
        left.push_back(entry.path().filename());
    CHECK(left == std::vector<std::string>{"index.html"});
}
