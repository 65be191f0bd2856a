// Words that the program does not know: the nearest one that it does is named.
#include <catch2/catch.hpp>

#include "tests/program.h"

using Catch::Contains;
using plateloom::test::run;

TEST_CASE("A misspelled command or option names the nearest one, status 2") {
    const auto said = [](const std::string& arguments) {
        const auto result = run(arguments);
        CHECK(result.status == 2);
        return result.err;
    };
    CHECK_THAT(said("stich plates -o pano.exr"), Contains("did you mean stitch?"));
    CHECK_THAT(said("sovle plates -o solve.jsonl"), Contains("did you mean solve?"));
    CHECK_THAT(said("calibrate chrat x.png -o l.json"), Contains("did you mean chart?"));
    CHECK_THAT(said("stitch plates -o pano.exr --lense lens.csv"),
               Contains("did you mean --lens?"));
    CHECK_THAT(said("solve plates -o s.jsonl --color-space=sRGB"),
               Contains("did you mean --colour-space?"));
    CHECK_THAT(said("view pano.exr -o v.exr --psoe 3,0"), Contains("did you mean --pose?"));
    CHECK_THAT(said("view pano.exr -o v.exr --first 3"), Contains("did you mean --first-frame?"));
    CHECK_THAT(said("view pano.exr -o v.exr --zebra 3"), !Contains("did you mean"));
    CHECK_THAT(said("stitch plates"), !Contains("did you mean"));
}
