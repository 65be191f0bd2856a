// demo/farm/submit with an sbatch that refuses: no Slurm is needed.
#include <catch2/catch.hpp>

#include "tests/program.h"

using namespace plateloom;
using test::Folder;
using test::quoted;
namespace fs = std::filesystem;

namespace {

// An sbatch that notes its arguments, and from the `good`-th call on fails with status 3.
test::ProgramRun submitWith(int good, const Folder& folder) {
    const char* source = std::getenv("PLATELOOM_SOURCE");
    REQUIRE(source);
    const auto submit = fs::path(source) / "demo/farm/submit";
    test::put(
        folder / "sbatch",
        "#!/bin/sh\necho \"$@\" >>" + quoted(folder / "calls") + "\nn=$(wc -l <" +
            quoted(folder / "calls") + ")\n[ $n -le " + std::to_string(good) +
            " ] || { echo 'no such partition' >&2; exit 3; }\necho \"$((40 + n));cluster\"\n");
    fs::permissions(folder / "sbatch", fs::perms::owner_all);
    test::put(folder / "cam1.jsonl", "{}");
    const std::string command = "cd " + quoted(folder.path()) +
                                " && PATH=\"$PWD:$PATH\" PLATELOOM=/bin/true " + quoted(submit) +
                                " out 'cam1.####.exr' >out.txt 2>err.txt";
    test::ProgramRun result;
    const int code = std::system(command.c_str());
    result.status = WIFEXITED(code) ? WEXITSTATUS(code) : 128;
    result.out = test::contents(folder / "out.txt");
    result.err = test::contents(folder / "err.txt");
    return result;
}

}  // namespace

TEST_CASE("submit fails as sbatch does and never gives an empty dependency", "[submit]") {
    for (const int good : {0, 1, 2}) {
        INFO(good);
        const Folder folder;
        const auto result = submitWith(good, folder);
        CHECK(result.status == 3);
        CHECK(result.out.empty());
        CHECK(result.err.find("did not take") != std::string::npos);
        if (good > 0) CHECK(result.err.find("scancel 41") != std::string::npos);
        const auto calls = test::contents(folder / "calls");
        CHECK(std::count(calls.begin(), calls.end(), '\n') == good + 1);
        CHECK(calls.find("afterok: ") == std::string::npos);
    }
    const Folder folder;
    const auto result = submitWith(3, folder);
    CHECK(result.status == 0);
    CHECK(result.out == "41 42 43\n");
    CHECK(test::contents(folder / "calls").find("afterok:42 ") != std::string::npos);
}
