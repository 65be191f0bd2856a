#include "io/output_guard.h"

#include <catch2/catch.hpp>

#include "io/new_file.h"
#include "tests/program.h"

using namespace plateloom::io;
using plateloom::test::contents;
using plateloom::test::Folder;
using plateloom::test::put;
namespace fs = std::filesystem;

namespace {

void check(const fs::path& input, const fs::path& output, bool overwrite = true) {
    OutputGuard guard(overwrite);
    guard.reads(input);
    guard.writes(output, Made::panorama);
    guard.check();
}

void checkBoth(const fs::path& a, const fs::path& b) {
    OutputGuard guard(true);
    guard.writes(a, Made::panorama);
    guard.writes(b, Made::preview);
    guard.check();
}

}  // namespace

TEST_CASE("An output that is an input is refused by whatever name, also with --overwrite",
          "[outputs]") {
    const Folder folder;
    const auto plate = folder / "plate.exr";
    put(plate, "recorded");
    fs::create_directory(folder / "below");
    fs::create_symlink(plate, folder / "link.exr");
    fs::create_hard_link(plate, folder / "hard.exr");
    fs::create_directory_symlink(folder.path(), folder / "folder");
    for (const fs::path& output : {plate, folder / "link.exr", folder / "hard.exr",
                                   folder / "folder/plate.exr", folder / "below/../plate.exr"}) {
        INFO(output);
        CHECK_THROWS_WITH(check(plate, output), Catch::Contains("input"));
        CHECK_THROWS_AS(check(plate, output, false), OutputRefused);
    }
    CHECK_THROWS_AS(check(folder / "link.exr", plate), OutputRefused);
    CHECK_NOTHROW(check(plate, folder / "other.exr"));
    CHECK_NOTHROW(check(folder / "missing.exr", folder / "missing too.exr"));
    CHECK(contents(plate) == "recorded");
}

TEST_CASE("Two outputs never have one name, nor names that differ in case only", "[outputs]") {
    const Folder folder;
    fs::create_directory_symlink(folder.path(), folder / "folder");
    CHECK_THROWS_AS(checkBoth(folder / "a.exr", folder / "a.exr"), OutputRefused);
    CHECK_THROWS_AS(checkBoth(folder / "a.exr", folder / "A.EXR"), OutputRefused);
    CHECK_THROWS_AS(checkBoth(folder / "a.exr", folder / "folder/a.exr"), OutputRefused);
    CHECK_NOTHROW(checkBoth(folder / "a.exr", folder / "b.exr"));
    put(folder / "a.exr", "x");
    CHECK_THROWS_AS(checkBoth(folder / "a.exr", folder / "A.exr"), OutputRefused);
    fs::create_hard_link(folder / "a.exr", folder / "c.exr");
    CHECK_THROWS_AS(checkBoth(folder / "a.exr", folder / "c.exr"), OutputRefused);
    // A link to where nothing is yet.
    fs::create_symlink(folder / "new.exr", folder / "to new.exr");
    CHECK_THROWS_AS(checkBoth(folder / "new.exr", folder / "to new.exr"), OutputRefused);
}

TEST_CASE("What this program made is replaced while nobody changed it", "[outputs]") {
    const Folder folder;
    const auto path = folder / "pano";
    const auto refused = [&] {
        try {
            check(folder / "plate.exr", path, false);
            return std::string();
        } catch (const OutputRefused& error) {
            return std::string(error.what());
        }
    };
    writeText(path, "pixels " + openMark(Made::panorama));
    CHECK(refused().empty());
    put(path, contents(path) + "painted");
    CHECK_THAT(refused(), Catch::Contains("changed") && Catch::Contains("--overwrite"));
    put(path, "somebody's");
    CHECK_THAT(refused(), Catch::Contains("did not make") && Catch::Contains("--overwrite"));
    CHECK_NOTHROW(check(folder / "plate.exr", path, true));
    writeText(path, "pixels " + openMark(Made::view));
    CHECK_THAT(refused(), Catch::Contains("did not make"));
    CHECK(contents(path).starts_with("pixels"));
}

TEST_CASE("The next run removes what a killed one left, and nothing else", "[outputs]") {
    const Folder folder;
    const auto left = folder / ".pano.plateloom-4711-3.exr";
    put(left, "half of it");
    put(folder / ".backup.2024-1.exr", "a person's");
    put(folder / ".plateloom-notes", "a person's");
    const NewFile alive(folder / "other.exr");
    check(folder / "plate.exr", folder / "pano.exr");
    CHECK_FALSE(fs::exists(left));
    CHECK(fs::exists(alive.path()));
    CHECK(fs::exists(folder / ".backup.2024-1.exr"));
    CHECK(fs::exists(folder / ".plateloom-notes"));
}
