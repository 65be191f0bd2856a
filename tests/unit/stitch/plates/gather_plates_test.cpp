// Plates on disk, among what earlier runs left beside them.
#include <algorithm>
#include <catch2/catch.hpp>
#include <chrono>
#include <thread>

#include "io/display_picture.h"
#include "io/input_error.h"
#include "io/panorama_file.h"
#include "stitch/plates/plate_set.h"
#include "tests/frames_on_disk.h"
#include "tests/program.h"

using namespace plateloom;
using namespace plateloom::stitch;
using test::Folder;

namespace {

void writeEarlierRun(const std::filesystem::path& folder) {
    io::PictureTags latlong, cylinder;
    latlong.latlong = true;
    cylinder.cylinder = {0.5, -0.5};
    for (const auto& [name, tags] :
         {std::pair{"pano.exr", latlong}, {"band.exr", cylinder}, {"pano.tif", latlong}}) {
        io::PanoramaWriter writer(folder / name, {64, 32, 32, true, true}, tags);
        for (const int x : {0, 32}) writer.write(x, 0, io::Picture(32, 32, 4, 0.5f));
        writer.finish();
    }
    for (const char* name : {"pano.png", "pano.jpg"})
        io::writeDisplayPicture(folder / name, io::Picture(64, 32, 3, 0.5f), io::Made::preview);
}

}  // namespace

TEST_CASE("Panoramas and previews beside the plates are left out, and said to be") {
    const Folder folder;
    for (const char* name : {"a.exr", "b.exr"})
        test::writeFrame(folder / name, test::rgbaSpec(48, 27), [&](double x, double y, int c) {
            return test::lightAt(x + name[0], y, c);
        });
    writeEarlierRun(folder.path());
    PlateArguments arguments;
    arguments.plates = {folder.path().string()};
    const PlateSet set = gatherPlates(arguments);
    REQUIRE(set.plates.size() == 2);
    CHECK(set.plates[0].file.path.filename() == "a.exr");
    CHECK(set.plates[1].file.path.filename() == "b.exr");
    for (const char* name : {"pano.exr", "band.exr", "pano.tif", "pano.png", "pano.jpg"}) {
        INFO(name);
        CHECK(std::count_if(set.warnings.begin(), set.warnings.end(), [&](const auto& line) {
                  return line.find(std::string(name) + ": left out") != std::string::npos;
              }) == 1);
    }
    arguments.plates = {(folder / "pano.exr").string()};
    CHECK_THROWS_WITH(gatherPlates(arguments),
                      Catch::Contains("is a panorama") && Catch::Contains("no plates"));
}

TEST_CASE("A picture made twice is the same file, whenever it was made") {
    const Folder folder;
    writeEarlierRun(folder.path());
    std::filesystem::create_directories(folder / "again");
    // The library writes whole seconds.
    std::this_thread::sleep_for(std::chrono::milliseconds(1100));
    writeEarlierRun(folder / "again");
    for (const char* name : {"pano.exr", "band.exr", "pano.tif", "pano.png", "pano.jpg"}) {
        INFO(name);
        CHECK(test::contents(folder / name) == test::contents(folder / "again" / name));
    }
}
