#include "stitch/plates/working_primaries.h"

#include <catch2/catch.hpp>
#include <cmath>

#include "io/input_error.h"
#include "stitch/compose/stitch_job.h"
#include "tests/program.h"
#include "tests/unit/io/read_plate.h"

using namespace plateloom;
using namespace plateloom::stitch;
using plateloom::test::Folder;

namespace {

// A wall of one colour, 0.6, 0.3, 0.1 in Rec. 709, as a file of other primaries holds it.
void writeWall(const std::filesystem::path& path, const io::Chromaticities& rgb) {
    const calib::Vector3d wall =
        *io::rgbFromRgb(rgb, io::primaries::kRec709) * calib::Vector3d(0.6, 0.3, 0.1);
    constexpr int kWidth = 320, kHeight = 180;
    OIIO::ImageSpec spec(kWidth, kHeight, 3, OIIO::TypeFloat);
    spec.attribute("chromaticities", OIIO::TypeDesc(OIIO::TypeDesc::FLOAT, 8), rgb.data());
    std::vector<float> values;
    for (int i = 0; i < kWidth * kHeight; ++i)
        for (int c = 0; c < 3; ++c) values.push_back(float(wall[c]));
    io::writeWithOiio(path, spec, values);
}

io::SolvedPlate placed(const std::string& file, double pan_deg) {
    io::SolvedPlate plate;
    plate.file = file;
    plate.placed = true;
    plate.placed_by = "ties";
    plate.pose.pan_deg = pan_deg;
    plate.lens.focal_mm = 28;
    plate.sensor = {36, 20.25, 320, 180};
    return plate;
}

// The panorama of one plate in Rec. 709 and one in ACES AP1, and its tag.
struct Composed709 {
    io::PlateFile file;
    io::PlatePixels pixels;
    StitchResult result;
};
Composed709 composeWalls(const Folder& folder, const std::string& working_space) {
    writeWall(folder / "a.exr", io::primaries::kRec709);
    writeWall(folder / "b.exr", io::primaries::kAp1);
    io::writeSolve(folder / "solve.jsonl", {placed("a.exr", 15), placed("b.exr", -15)});
    StitchRequest request;
    request.solve.plates.plates = {(folder / "a.exr").string(), (folder / "b.exr").string()};
    request.solve.plates.working_space = working_space;
    request.output = folder / "pano.exr";
    request.solve_file = folder / "solve.jsonl";
    request.width = 512;
    request.half = false;
    Composed709 out;
    out.result = stitchJob(request, [](const std::string&, double) {});
    out.file = io::readPlateHeader(folder / "pano.exr");
    out.pixels = io::readPlatePixels(out.file);
    return out;
}

}  // namespace

TEST_CASE("Plates of two sets of primaries make a panorama of one, and say so", "[primaries]") {
    const Folder folder;
    for (const std::string working : {"", "ACEScg"}) {
        const auto& set = working.empty() ? io::primaries::kRec709 : io::primaries::kAp1;
        const auto panorama = composeWalls(folder, working);
        REQUIRE(panorama.file.chromaticities);
        CHECK(io::same(*panorama.file.chromaticities, set));
        const calib::Vector3d wall =
            *io::rgbFromRgb(set, io::primaries::kRec709) * calib::Vector3d(0.6, 0.3, 0.1);
        for (const int x : {190, 230, 256, 280, 320})
            for (int c = 0; c < 3; ++c)
                CHECK(io::at(panorama.pixels, x, 128).v[c] == Approx(wall[c]).epsilon(1e-3));
    }
}

TEST_CASE("What is converted is told, and what is assumed", "[primaries]") {
    io::PlateFile a, b, silent;
    a.chromaticities = io::primaries::kRec709;
    b.chromaticities = io::primaries::kAp1;
    const auto found = useOnePrimaries({&a, &b, &silent}, "");
    REQUIRE(found.notes.size() == 1);
    CHECK(found.notes[0] == "1 of 3 plates converted from ACES AP1 to Rec. 709 primaries");
    REQUIRE(found.warnings.size() == 1);
    CHECK_THAT(found.warnings[0], Catch::Contains("1 of 3 plates") && Catch::Contains("Rec. 709"));
    CHECK_FALSE(a.to_working);
    CHECK(b.to_working);
    CHECK_FALSE(silent.to_working);
    for (const auto* file : {&a, &b, &silent})
        CHECK(io::same(*file->chromaticities, io::primaries::kRec709));
    io::PlateFile none;
    CHECK(useOnePrimaries({&none}, "").warnings.empty());
    CHECK_FALSE(none.chromaticities);
    CHECK_THROWS_AS(useOnePrimaries({&a}, "purple"), io::InputError);
    io::PlateFile damaged;
    damaged.chromaticities = io::Chromaticities(8, 0.0f);
    CHECK_THROWS_WITH(useOnePrimaries({&a, &damaged}, ""), Catch::Contains("chromaticities"));
}
