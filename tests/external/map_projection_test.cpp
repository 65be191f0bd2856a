// Directions on the panorama and through a flat camera against J. P. Snyder, Map Projections: A
// Working Manual (USGS Professional Paper 1395): the gnomonic projection's worked example (sphere
// of radius 1, centre 40 N 100 W, point 30 N 110 W: x = -0.1542826, y = -0.1694739), and the forms
// of the equirectangular and the central cylindrical projection. The example's numbers are from
// memory; the formulas beside them (22-4, 22-5 with 5-3) give the same.
//
// A panorama is seen from inside the sphere and a map from outside: longitude is pan, and what is
// to the right on the map is to the left in the picture.
#include <catch2/catch.hpp>

#include "calib/lens.h"
#include "calib/pose.h"
#include "stitch/resample/panorama_grid.h"

using namespace plateloom;

namespace {

constexpr double kRad = 3.14159265358979323846 / 180;

struct MapPoint {
    double x, y;
};

MapPoint gnomonic(double lat1, double lon0, double lat, double lon) {
    const double p1 = lat1 * kRad, p = lat * kRad, l = (lon - lon0) * kRad;
    const double cos_c =
        std::sin(p1) * std::sin(p) + std::cos(p1) * std::cos(p) * std::cos(l);  // (5-3)
    return {std::cos(p) * std::sin(l) / cos_c,                                  // (22-4)
            (std::cos(p1) * std::sin(p) - std::sin(p1) * std::cos(p) * std::cos(l)) / cos_c};
}

stitch::PanoramaGrid latlong() {
    stitch::PanoramaGrid grid;
    grid.width = 3600;
    grid.height = 1800;
    return grid;
}

// A panorama's pixel at a longitude and a latitude, by its definition and not by the grid.
calib::Vector2d pixelAt(double lon_deg, double lat_deg) {
    return {(180 - lon_deg) * 10, (90 - lat_deg) * 10};
}

}  // namespace

TEST_CASE("A flat camera sees the sphere in Snyder's gnomonic projection") {
    CHECK(gnomonic(40, -100, 30, -110).x == Approx(-0.1542826).margin(5e-8));
    CHECK(gnomonic(40, -100, 30, -110).y == Approx(-0.1694739).margin(5e-8));

    calib::Lens lens;
    lens.focal_mm = 10;  // the sphere's radius, in millimetres
    const calib::LensMap map(lens, {36, 24, 3600, 2400});
    const auto at = [&](double lat1, double lon0, double lat, double lon) {
        const auto cell = pixelAt(lon, lat);
        const calib::Vector3d ray = calib::worldFromCamera({lon0, lat1, 0}).transpose() *
                                    latlong().directionAt(cell.x(), cell.y());
        return calib::mmFromPixel(map.sensor(), *map.flatFromRay(ray));
    };
    const auto worked = at(40, -100, 30, -110);
    CHECK(-worked.x() / 10 == Approx(-0.1542826).margin(5e-8));
    CHECK(-worked.y() / 10 == Approx(-0.1694739).margin(5e-8));
    for (const double lat1 : {-60.0, 0.0, 75.0})
        for (const double lon : {-30.0, -5.0, 20.0})
            for (const double lat : {lat1 - 25, lat1, lat1 + 14}) {
                const auto ours = at(lat1, 170, lat, 170 + lon);
                const MapPoint theirs = gnomonic(lat1, 170, lat, 170 + lon);
                CHECK(-ours.x() / 10 == Approx(theirs.x).margin(1e-12));
                CHECK(-ours.y() / 10 == Approx(theirs.y).margin(1e-12));
            }
}

TEST_CASE("The equirectangular panorama is Snyder's with the equator as standard parallel") {
    // x = R (lon - lon0) cos 0, y = R lat (12-1, 12-2), R = width / 2 pi; x grows to the left.
    const stitch::PanoramaGrid grid = latlong();
    const double R = grid.pixelsPerRadian();
    for (const double lon : {-179.0, -45.0, 0.0, 30.0, 120.0})
        for (const double lat : {-80.0, -30.0, 0.0, 45.0}) {
            const calib::Vector3d direction = calib::worldFromCamera({lon, lat, 0}).col(1);
            const auto px = grid.pixelOf(direction);
            CHECK(1800 - px.x() == Approx(R * lon * kRad).margin(1e-9));
            CHECK(900 - px.y() == Approx(R * lat * kRad).margin(1e-9));
            CHECK((grid.directionAt(px.x(), px.y()) - direction).norm() < 1e-14);
        }
}

TEST_CASE("The cylindrical panorama is the central one: its rows are tangents of the latitude") {
    // x = R (lon - lon0), y = R tan lat: Snyder, the perspective cylindrical from the centre.
    stitch::PanoramaGrid grid = latlong();
    grid.projection = stitch::Projection::cylindrical;
    const double R = grid.pixelsPerRadian();
    grid.top_tan = 1;
    grid.bottom_tan = -1;
    grid.height = int(std::lround(2 * R));
    for (const double lon : {-179.0, 0.0, 77.0})
        for (const double lat : {-44.0, 0.0, 30.0}) {
            const calib::Vector3d direction = calib::worldFromCamera({lon, lat, 0}).col(1);
            const auto px = grid.pixelOf(direction);
            CHECK(1800 - px.x() == Approx(R * lon * kRad).margin(1e-9));
            CHECK(grid.height / 2.0 - px.y() ==
                  Approx(grid.height / 2.0 * std::tan(lat * kRad)).margin(1e-9));
            CHECK((grid.directionAt(px.x(), px.y()) - direction).norm() < 1e-14);
        }
}

TEST_CASE("The wrap: a position outside the panorama is the same direction one turn away") {
    const stitch::PanoramaGrid grid = latlong();
    CHECK((grid.directionAt(-1.5, 700) - grid.directionAt(3598.5, 700)).norm() < 1e-12);
    // Pan +180 is the left edge, never the right one.
    CHECK(grid.pixelOf({0, -1, 0}).x() < 3600);
}
