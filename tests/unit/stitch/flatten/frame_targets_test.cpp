#include "stitch/flatten/frame_targets.h"

#include <catch2/catch.hpp>

using namespace plateloom::stitch;

TEST_CASE("A TIFF whose flat picture reaches beyond the frame becomes an EXR", "[flatten]") {
    // Only EXR has a data window to say where the frame lies in it.
    PlateSet set;
    for (const char* name : {"in/a.tif", "in/b.exr"}) {
        set.plates.emplace_back();
        set.plates.back().file.path = name;
    }
    using Paths = std::vector<std::filesystem::path>;
    CHECK(frameTargets("out", set, true) == Paths{"out/a.exr", "out/b.exr"});
    CHECK(frameTargets("out", set, false) == Paths{"out/a.tif", "out/b.exr"});
}
