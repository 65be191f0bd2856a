// kill -9 at random moments: nothing half-written under a final name, the next run clears up and
// comes to the same result. A few here; 200 of each with tests/faults/run.
#include <OpenImageIO/imagebuf.h>
#include <OpenImageIO/imagebufalgo.h>
#include <fcntl.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <catch2/catch.hpp>
#include <chrono>
#include <random>
#include <thread>

#include "tests/faults/injected/small_jobs.h"

using namespace plateloom;
using namespace plateloom::test;

namespace {

pid_t start(const std::string& arguments) {
    const pid_t child = ::fork();
    if (child != 0) return child;
    const int nowhere = ::open("/dev/null", O_RDWR);
    for (const int file : {0, 1, 2}) ::dup2(nowhere, file);
    // exec: the shell that takes the words apart becomes the program that is killed.
    const std::string command = "exec " + quoted(std::getenv("PLATELOOM")) + " " + arguments;
    ::execl("/bin/sh", "sh", "-c", command.c_str(), nullptr);
    ::_exit(127);
}

// True when it was killed before it ended by itself.
bool killedAfter(const std::string& arguments, std::chrono::microseconds delay) {
    const pid_t child = start(arguments);
    std::this_thread::sleep_for(delay);
    ::kill(child, SIGKILL);
    int status = 0;
    ::waitpid(child, &status, 0);
    return WIFSIGNALED(status);
}

int waitFor(pid_t child) {
    int status = 0;
    ::waitpid(child, &status, 0);
    return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

// All bits of all pixels; of other files all bytes.
bool sameContent(const fs::path& path, const std::string& whole, const fs::path& copy) {
    if (contents(path) == whole) return true;
    const std::string extension = path.extension().string();
    if (extension == ".html") return true;  // tells how long the job took
    if (extension != ".exr" && extension != ".png" && extension != ".jpg") return false;
    put(copy, whole);
    const OIIO::ImageBuf a(path.string()), b(copy.string());
    // A contact sheet of frames that were kept is made of what their files hold, which is rounded
    // to half: a thumbnail may differ by one step of eight bits. Frames themselves may not.
    const float most = extension == ".exr" ? 0.0f : 1.5f / 255;
    return OIIO::ImageBufAlgo::compare(a, b, most, most).nfail == 0;
}

void killAndResume(const SmallJobs& jobs, const SmallJob& job, int kills, std::mt19937& random) {
    INFO(job.name);
    const auto begin = std::chrono::steady_clock::now();
    REQUIRE(run(job.arguments).status <= 1);
    const auto took = std::chrono::duration_cast<std::chrono::microseconds>(
        std::chrono::steady_clock::now() - begin);
    std::map<fs::path, std::string> whole;
    for (const auto& [path, kind] : job.outputs) whole[path] = contents(path);
    const Folder scratch;
    int killed = 0, whole_files = 0, copies = 0;
    for (int i = 0; i < kills; ++i) {
        for (const auto& [path, kind] : job.outputs)
            if (i % 2 == 0) fs::remove(path);
        // More of them toward the end, where files are written.
        const double at = std::sqrt(std::uniform_real_distribution(0.0, 1.0)(random));
        killed += killedAfter(job.arguments, std::chrono::microseconds(int64_t(took.count() * at)));
        for (const auto& [path, kind] : job.outputs) {
            if (!fs::exists(path)) continue;
            ++whole_files;
            INFO(path << " after " << at << " of the job");
            CHECK(io::standingOf(path, kind) == io::Standing::ours);
        }
        const auto again = run(job.arguments + (job.resumes ? " --resume" : ""));
        INFO(again.err);
        CHECK(again.status <= 1);
        CHECK(jobs.leftovers().empty());
        for (const auto& [path, kind] : job.outputs) {
            INFO(path);
            // A name of its own each time: OpenImageIO keeps files that it has read.
            const std::string copy = std::to_string(copies++) + path.extension().string();
            CHECK(sameContent(path, whole[path], scratch / copy));
        }
    }
    std::printf("%-14s %4d kills, %4d before the end, %5d files that were there, all whole\n",
                job.name.c_str(), kills, killed, whole_files);
    std::fflush(stdout);
}

int killsWanted(int usual) {
    const char* said = std::getenv("PLATELOOM_KILLS");
    return said ? std::atoi(said) : usual;
}

}  // namespace

TEST_CASE("Killed at any moment, a job leaves whole files and is taken up again", "[kill]") {
    SmallJobs jobs;
    const int kills = killsWanted(1);
    if (kills > 1) jobs.addTake();
    std::mt19937 random(20);
    const char* only = std::getenv("PLATELOOM_ONLY_JOB");
    for (const auto& job : jobs.jobs()) {
        if (only && job.name != only) continue;
        if (job.name == "plan" || job.name == "check" || job.name == "unflatten") continue;
        killAndResume(jobs, job, kills, random);
    }
}

TEST_CASE("Of two runs with one output at once, one wins whole", "[kill]") {
    SmallJobs jobs;
    const std::string base = jobs.jobs()[2].arguments;
    const auto& outputs = jobs.jobs()[2].outputs;
    REQUIRE(jobs.jobs()[2].name == "stitch");
    for (int i = 0; i < killsWanted(2); ++i) {
        const pid_t one = start(base + " --tilt -20:20 --projection cylindrical");
        const pid_t other = start(base);
        CHECK(waitFor(one) <= 1);
        CHECK(waitFor(other) <= 1);
        for (const auto& [path, kind] : outputs)
            CHECK(io::standingOf(path, kind) == io::Standing::ours);
        CHECK(jobs.leftovers().empty());
    }
}
