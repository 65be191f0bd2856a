#include <catch2/catch.hpp>

#include "io/input_error.h"
#include "io/plate_file.h"
#include "tests/program.h"

namespace fs = std::filesystem;
using namespace plateloom::io;
using plateloom::test::Folder;
using plateloom::test::put;

namespace {

std::vector<std::string> names(const std::vector<fs::path>& paths) {
    std::vector<std::string> out;
    for (const fs::path& path : paths) out.push_back(path.filename().string());
    return out;
}

using Names = std::vector<std::string>;

}  // namespace

TEST_CASE("A folder's pictures come in the order that people count in, other files left out") {
    const Folder folder;
    for (const char* name : {"p10.exr", "p9.EXR", "p1.exr", "notes.txt", ".hidden.exr", "q.jpeg",
                             "track.json", "p09b.tiff"}) {
        put(folder / name, "x");
    }
    fs::create_directory(folder / "folder.exr");
    CHECK(names(expandPlates({folder.path().string()}, {})) ==
          Names{"p1.exr", "p9.EXR", "p09b.tiff", "p10.exr", "q.jpeg"});
}

TEST_CASE("Files keep the order in which they are given") {
    const Folder folder;
    put(folder / "b.exr", "x");
    put(folder / "a.exr", "x");
    CHECK(names(expandPlates({(folder / "b.exr").string(), (folder / "a.exr").string()}, {})) ==
          Names{"b.exr", "a.exr"});
}

TEST_CASE("A pattern of # stands for the frames that are asked for, else for all that are there") {
    const Folder folder;
    for (const char* name : {"p.0998.exr", "p.0999.exr", "p.1000.exr", "p.10000.exr"}) {
        put(folder / name, "x");
    }
    const std::string pattern = (folder / "p.####.exr").string();
    CHECK(names(expandPlates({pattern}, FrameRange{998, 1000})) ==
          Names{"p.0998.exr", "p.0999.exr", "p.1000.exr"});
    CHECK(names(expandPlates({pattern}, FrameRange{10000, 10000})) == Names{"p.10000.exr"});
    CHECK(names(expandPlates({pattern}, {})) ==
          Names{"p.0998.exr", "p.0999.exr", "p.1000.exr", "p.10000.exr"});
    put(folder / "p.99.exr", "named otherwise, and once more as below");
    put(folder / "p.0099.exr", "x");
    CHECK(names(expandPlates({pattern}, {})).front() == "p.0099.exr");
    CHECK(expandPlates({pattern}, {}).size() == 5);
    CHECK_THROWS_WITH(expandPlates({(folder / "q.####.exr").string()}, {}),
                      Catch::Contains("no file of such a name"));
    CHECK_THROWS_WITH(expandPlates({pattern}, FrameRange{999, 1002}),
                      Catch::Contains("p.1001.exr") && Catch::Contains("1 more"));
}

TEST_CASE("What does not exist, or holds no pictures, is named") {
    const Folder folder;
    CHECK_THROWS_WITH(expandPlates({(folder / "none.exr").string()}, {}),
                      Catch::Contains("none.exr") && Catch::Contains("no such"));
    put(folder / "notes.txt", "x");
    CHECK_THROWS_WITH(expandPlates({folder.path().string()}, {}), Catch::Contains("no pictures"));
}

TEST_CASE("A frame range is one number or two in order") {
    CHECK(parseFrameRange("1001-1100").first == 1001);
    CHECK(parseFrameRange("1001-1100").last == 1100);
    CHECK(parseFrameRange("7").last == 7);
    for (const char* text :
         {"", "-", "a", "5-", "-5", "9-3", "1-2x", "1.5", "1-99999999999", "0-2000000000", " 1"}) {
        INFO('"' << text << '"');
        CHECK_THROWS_AS(parseFrameRange(text), InputError);
    }
}
