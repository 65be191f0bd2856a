#include "stitch/resample/warp.h"

#include <catch2/catch.hpp>
#include <cmath>

#include "tests/painted_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;
using namespace plateloom::painted;

namespace {

constexpr double kAllowed_px = 0.002;

struct Worst {
    double off_px = 0, scale_ratio = 1;
    size_t seen = 0, missed = 0;  // exact positions on the plate; those that the lattice lacks
};

// Every pixel of every cell of the grid against the exact map.
Worst compare(const PlacedPlate& plate, const PanoramaGrid& grid) {
    const int step = latticeStep(grid);
    const CellRange cells{0, 0, (grid.width + step - 1) / step, (grid.height + step - 1) / step};
    PositionLattice lattice = panoramaLattice(plate, grid, cells, step, 0.001);
    const auto exact = [&](double x, double y) {
        return plate.lens.recordedFromRay(plate.worldFromCamera.transpose() *
                                          grid.directionAt(x, y));
    };
    std::vector<SamplePoint> points(size_t(step) * step);
    Worst worst;
    for (int cy = 0; cy < cells.y1; ++cy)
        for (int cx = 0; cx < cells.x1; ++cx) {
            const bool any = lattice.cell(cx, cy, points.data());
            for (int k = 0; k < step * step; k += any ? 3 : 7) {
                const double x = cx * step + k % step + 0.5, y = cy * step + k / step + 0.5;
                const auto px = exact(x, y);
                const auto& point = points[size_t(k)];
                const bool on_plate = px && plate.lens.inPicture(*px);
                worst.seen += on_plate;
                if (!on_plate) continue;
                if (!any) {
                    ++worst.missed;
                    continue;
                }
                worst.off_px = std::max(
                    worst.off_px, std::hypot(double(point.x) - px->x(), double(point.y) - px->y()));
                const auto right = exact(x + 0.01, y), below = exact(x, y + 0.01);
                if (!right || !below) continue;
                const double scale = std::hypot(right->x() - px->x(), below->x() - px->x()) / 0.01;
                worst.scale_ratio =
                    std::max({worst.scale_ratio, point.scale_x / scale, scale / point.scale_x});
            }
        }
    return worst;
}

PlacedPlate placed(const calib::PanTiltRoll& pose, const calib::Lens& lens) {
    PlacedPlate plate;
    plate.lens = calib::LensMap(lens, {36, 20.25, 2048, 1152});
    plate.worldFromCamera = calib::worldFromCamera(pose);
    return plate;
}

calib::Lens wideLens() {
    calib::Lens lens;
    lens.focal_mm = 14;
    lens.distortion.direction = calib::DistortionDirection::flat_to_recorded;
    lens.distortion.radial = {-4e-4, 0, 6e-7, 0, 0, 0};
    lens.distortion.tangential = {2e-5, -1e-5};
    return lens;
}

}  // namespace

TEST_CASE("The lattice is within 0.002 plate pixels of the exact map, over poles and wrap too") {
    for (const auto& pose :
         {calib::PanTiltRoll{10, 0, 0}, {179, 5, 3}, {40, 88, 0}, {-90, -70, 20}})
        for (const auto& lens : {bendingLens(), wideLens()})
            for (const int width : {512, 3000}) {
                const Worst worst = compare(placed(pose, lens), latlong(width));
                CHECK(worst.seen > 0);
                CHECK(worst.missed == 0);
                CHECK(worst.off_px < kAllowed_px);
                // At a pole pixels shrink to nothing within a few rows: there the scale is rough.
                if (std::abs(pose.tilt_deg) < 30) CHECK(worst.scale_ratio < 1.05);
            }
}

TEST_CASE("On a cylinder the lattice holds as well") {
    PanoramaGrid grid;
    grid.projection = Projection::cylindrical;
    grid.width = 3000;
    grid.top_tan = 0.8;
    grid.bottom_tan = -0.7;
    grid.height = 716;
    const Worst worst = compare(placed({175, 3, 2}, bendingLens()), grid);
    CHECK(worst.missed == 0);
    CHECK(worst.off_px < kAllowed_px);
}

TEST_CASE("A lens whose polynomial ends just beyond the frame is computed exactly at its edge") {
    calib::Lens lens = bendingLens();
    // r (1 + k r^2) stops rising at r = 1 / sqrt(-3 k): half a millimetre beyond the corner.
    const double corner_mm = std::hypot(18.0, 10.125) + 0.5;
    lens.distortion.radial = {-1 / (3 * corner_mm * corner_mm), 0, 0, 0, 0, 0};
    REQUIRE_FALSE(calib::faultOf(lens, {36, 20.25, 2048, 1152}));
    const Worst worst = compare(placed({30, 10, 0}, lens), latlong(2048));
    CHECK(worst.missed == 0);
    CHECK(worst.off_px < kAllowed_px);
}

TEST_CASE("Cells are the same for any range of cells that holds them") {
    const PlacedPlate plate = placed({20, 30, 5}, bendingLens());
    const PanoramaGrid grid = latlong(4096);
    const int step = latticeStep(grid);
    const int cx = 1800 / step, cy = 700 / step;
    PositionLattice small = panoramaLattice(plate, grid, {cx, cy, cx + 1, cy + 1}, step, 0.001);
    PositionLattice large =
        panoramaLattice(plate, grid, {0, 0, 4096 / step, 2048 / step}, step, 0.001);
    std::vector<SamplePoint> a(size_t(step) * step), b(a);
    REQUIRE(small.cell(cx, cy, a.data()));
    REQUIRE(large.cell(cx, cy, b.data()));
    for (size_t i = 0; i < a.size(); ++i) {
        CHECK(a[i].x == b[i].x);
        CHECK(a[i].scale_y == b[i].scale_y);
    }
}

TEST_CASE("Shading is divided out and the gain multiplied in") {
    PlacedPlate plate = placed({0, 0, 0}, bendingLens());
    plate.gain = {1, 2, 0.5f};
    const SamplePoint points[] = {{1024, 576, 1, 1}, {100, 80, 1, 1}};
    float rgba[8] = {1, 1, 1, 1, 1, 1, 1, 0};
    unshade(plate, points, 2, rgba);
    CHECK(rgba[0] == Approx(1));
    CHECK(rgba[1] == Approx(2));
    CHECK(rgba[4] == 1);  // no alpha: left alone
    float corner[4] = {1, 1, 1, 1};
    unshade(plate, points + 1, 1, corner);
    CHECK(corner[0] == Approx(1 / plate.lens.transmission({100, 80})).epsilon(1e-5));
}
