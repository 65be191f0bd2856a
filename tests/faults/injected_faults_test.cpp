// Every call that reads or writes a file fails once, and allocations fail, in a small job of each
// command: what is there afterwards is the whole old file or the whole new one, the line is clear
// and the status right. A few of the calls here; all, and allocations, with tests/faults/run.
#include <catch2/catch.hpp>
#include <cstdio>
#include <sstream>

#include "tests/faults/injected/small_jobs.h"

using namespace plateloom;
using namespace plateloom::test;

namespace {

struct Injected {
    ProgramRun run;
    long calls = 0;      // of that kind, up to the end
    std::string failed;  // the call that did, or "none"
};

// `at` 0 lets none fail and counts.
Injected runWith(const SmallJobs& jobs, const SmallJob& job, const std::string& what, long at) {
    const char* program = std::getenv("PLATELOOM");
    const char* library = std::getenv("PLATELOOM_FAILING_CALLS");
    REQUIRE(program);
    REQUIRE(library);
    const Folder folder;
    const std::string command =
        "timeout 120 env LD_PRELOAD=" + quoted(library) + " FAIL_UNDER=" + quoted(jobs.folder()) +
        " FAIL_WHAT=" + what + " FAIL_AT=" + std::to_string(at) +
        " FAIL_TOLD=" + quoted(folder / "told") + " " + quoted(program) + " " + job.arguments +
        " >" + quoted(folder / "out") + " 2>" + quoted(folder / "err") + " </dev/null";
    const int code = std::system(command.c_str());
    Injected result;
    result.run.status = WIFEXITED(code) ? WEXITSTATUS(code) : 128 + WTERMSIG(code);
    result.run.out = contents(folder / "out");
    result.run.err = contents(folder / "err");
    std::istringstream told(contents(folder / "told"));
    told >> result.calls >> result.failed;
    return result;
}

std::string lastLine(const std::string& text) {
    if (text.empty()) return {};
    const size_t end = text.size() - 1;
    const size_t begin = text.rfind('\n', end - 1);
    return text.substr(begin == std::string::npos ? 0 : begin + 1,
                       end - (begin == std::string::npos ? 0 : begin + 1));
}

using Files = std::map<fs::path, std::string>;

Files outputsOf(const SmallJob& job) {
    Files files;
    for (const auto& [path, kind] : job.outputs)
        if (fs::exists(path)) files[path] = contents(path);
    return files;
}

void removeOutputs(const SmallJob& job) {
    for (const auto& [path, kind] : job.outputs) fs::remove(path);
}

// What is wrong after a run that had a fault; "" for nothing.
std::string faultOf(const SmallJobs& jobs, const SmallJob& job, const Injected& result,
                    const Files& before) {
    const int status = result.run.status;
    std::string wrong;
    for (const auto& [path, kind] : job.outputs) {
        const auto old = before.find(path);
        const bool exists = fs::exists(path);
        if (exists && old != before.end() && contents(path) == old->second) continue;
        if (exists && io::standingOf(path, kind) == io::Standing::ours) continue;
        if (!exists && old == before.end() && status > 1) continue;
        wrong += path.filename().string() + (exists ? " is not whole; " : " is gone; ");
    }
    for (const auto& path : jobs.leftovers()) wrong += path.filename().string() + " is left; ";
    if (status < 0 || status > 4 || status == 2) wrong += "status " + std::to_string(status) + "; ";
    const bool wrote = result.failed != "open-to-read" && result.failed != "read";
    if (status == 3 && wrote) wrong += "status 3 for what was to be written; ";
    if (status > 1) {
        if (!lastLine(result.run.err).starts_with("plateloom: ")) wrong += "no clear line; ";
        for (const char* word : {"terminate", "what()", "OIIO", "cv::", "nlohmann", "basic_"})
            if (result.run.err.find(word) != std::string::npos)
                wrong += std::string("says ") + word + "; ";
    }
    return wrong.empty() ? "" : wrong + "at " + result.failed + ": " + result.run.err;
}

// All calls from 1 to `calls`, or `most` of them spread over all.
std::vector<long> sample(long calls, long most) {
    std::vector<long> at;
    const long count = std::min(calls, most);
    for (long k = 0; k < count; ++k)
        at.push_back(1 + (count > 1 ? k * (calls - 1) / (count - 1) : 0));
    return at;
}

void injectInto(SmallJobs& jobs, const SmallJob& job, const std::string& what, long most) {
    const auto clean = runWith(jobs, job, what, 0);
    INFO(job.name << ": " << clean.run.err);
    REQUIRE(clean.run.status <= 1);
    REQUIRE(clean.calls > 0);
    const Files whole = outputsOf(job);
    REQUIRE(whole.size() == job.outputs.size());
    long injected = 0, survived = 0;
    for (const long at : sample(clean.calls, most)) {
        // By turns over old files and where there are none.
        removeOutputs(job);
        if (at % 2 == 1)
            for (const auto& [path, bytes] : whole) put(path, bytes);
        const Files before = outputsOf(job);
        const auto result = runWith(jobs, job, what, at);
        if (result.failed == "none") continue;  // threads made fewer calls this time
        ++injected;
        const auto wrong = faultOf(jobs, job, result, before);
        survived += wrong.empty();
        if (wrong.empty()) continue;
        for (const auto& path : jobs.leftovers()) fs::remove(path);
        const std::string where = job.name + ", " + what + " call " + std::to_string(at);
        UNSCOPED_INFO(where << ": " << wrong);
        std::fprintf(stderr, "%s: %s\n", where.c_str(), wrong.c_str());
    }
    std::printf("%-14s %-7s %6ld calls, %5ld faults injected, %5ld survived\n", job.name.c_str(),
                what.c_str(), clean.calls, injected, survived);
    std::fflush(stdout);
    CHECK(survived == injected);
}

bool all() {
    return std::getenv("PLATELOOM_EVERY_FAULT") != nullptr;
}

}  // namespace

TEST_CASE("A call that fails once leaves whole files, a clear line and the right status",
          "[injected]") {
    if (!std::getenv("PLATELOOM_FAILING_CALLS")) {
        WARN("no library that lets calls fail (built with a sanitizer): not tested");
        return;
    }
    SmallJobs jobs;
    if (all()) jobs.addTake();
    const char* only = std::getenv("PLATELOOM_ONLY_JOB");
    for (const auto& job : jobs.jobs()) {
        if (only && job.name != only) continue;
        injectInto(jobs, job, "files", all() ? 1 << 20 : 6);
        if (all()) injectInto(jobs, job, "memory", 200);
    }
}

TEST_CASE("Standard output that can't be written is status 4 with one line", "[stdout]") {
    SmallJobs jobs;
    for (const auto& job : jobs.jobs()) {
        INFO(job.name);
        const Folder folder;
        const std::string command = quoted(std::getenv("PLATELOOM")) + " --json " + job.arguments +
                                    " >/dev/full 2>" + quoted(folder / "err");
        CHECK(WEXITSTATUS(std::system(command.c_str())) == 4);
        CHECK(lastLine(contents(folder / "err"))
                  .starts_with("plateloom: standard output: can't be written"));
        for (const auto& [path, kind] : job.outputs)
            CHECK(io::standingOf(path, kind) == io::Standing::ours);
    }
    const auto status = [](const std::string& arguments) {
        return WEXITSTATUS(std::system(
            (quoted(std::getenv("PLATELOOM")) + " " + arguments + " >/dev/full 2>/dev/null")
                .c_str()));
    };
    CHECK(status("plan --sensor 36x20.25 --size 480x270 --focal 28") == 4);
    CHECK(status("--help") == 4);
}
