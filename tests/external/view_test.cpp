// Views as others would make them: where things fall, by Snyder's gnomonic example and by OpenCV's
// projectPoints; what light arrives, by OpenImageIO's st_warp with the view's own maps.
#include "stitch/view/view.h"

#include <OpenImageIO/imagebuf.h>
#include <OpenImageIO/imagebufalgo.h>

#include <catch2/catch.hpp>
#include <opencv2/calib3d.hpp>

#include "calib/angle.h"
#include "calib/pose.h"
#include "stitch/view/view_maps.h"
#include "tests/painted_panorama.h"
#include "tests/program.h"

using namespace plateloom;
using namespace plateloom::stitch;
using calib::Vector2d;
using calib::Vector3d;

namespace {

constexpr size_t kCache = size_t(64) << 20;
constexpr double kSpot_rad = 0.006;

// A dark world with soft spots of light in some directions.
void writeSpots(const std::filesystem::path& path, const PanoramaGrid& grid,
                const std::vector<Vector3d>& spots) {
    painted::writePanorama(path, grid, {}, [&](int, int, const Vector3d& direction, float* rgba) {
        double light = 0;
        for (const auto& spot : spots)
            light += std::exp(-0.5 * (direction - spot).squaredNorm() / (kSpot_rad * kSpot_rad));
        rgba[0] = rgba[1] = rgba[2] = float(light);
    });
}

// The centre of the light within some pixels of a place.
Vector2d centreOfLight(const io::Picture& view, const Vector2d& about, int reach_px) {
    Vector2d sum = Vector2d::Zero();
    double light = 0;
    for (int y = int(about.y()) - reach_px; y <= int(about.y()) + reach_px; ++y)
        for (int x = int(about.x()) - reach_px; x <= int(about.x()) + reach_px; ++x) {
            const double here = view.at(x, y)[1];
            sum += here * Vector2d(x + 0.5, y + 0.5);
            light += here;
        }
    return sum / light;
}

PanoramaGrid latlong(int width) {
    PanoramaGrid grid;
    grid.width = width;
    grid.height = width / 2;
    return grid;
}

}  // namespace

// J. P. Snyder, Map Projections: A Working Manual (USGS PP 1395), gnomonic projection, numerical
// example: sphere of radius 1, centre 40 N 100 W, point 30 N 110 W gives x = -0.1542826,
// y = -0.1694739 (from memory; formulas 22-4 and 22-5 give the same). Longitude west is pan: what a
// map shows from outside, a view shows from inside, and 110 W lies to the left on both.
TEST_CASE("A flat view shows a light where Snyder's gnomonic example puts it", "[external]") {
    const PanoramaGrid grid = latlong(2048);
    const test::Folder folder;
    writeSpots(folder / "spot.exr", grid, {calib::worldFromCamera({110, 30, 0}).col(1)});
    const io::PanoramaReader panorama(folder / "spot.exr", "", kCache);
    calib::Lens lens;
    lens.focal_mm = 20;
    const ViewCamera camera{calib::LensMap(lens, {20, 20, 1000, 1000}),
                            calib::worldFromCamera({100, 40, 0})};
    const View view = renderView(panorama, grid, camera, Look::flat, {0, 0, 1000, 1000});
    const double radius_px = camera.lens.focal_px();
    const Vector2d expected(500 - 0.1542826 * radius_px, 500 + 0.1694739 * radius_px);
    const Vector2d found = centreOfLight(view.picture, expected, 30);
    // The spot itself is drawn a little longer outward: by its width squared over the radius.
    CHECK((found - expected).norm() < 0.05);
    CHECK(found.x() == Approx(expected.x()).margin(0.03));
}

TEST_CASE("A view with the lens's look shows lights where cv::projectPoints puts them",
          "[external]") {
    const PanoramaGrid grid = latlong(4096);
    constexpr int kWidth = 640, kHeight = 360;
    const std::array<double, 8> coefficients{-0.11, 0.03, 0.0008, -0.0005, 0.004, 0, 0, 0};
    const double fx = 520, cx = 323.4, cy = 177.2;
    const auto made = calib::lensFromOpenCv({fx, fx, cx, cy, coefficients, kWidth, kHeight}, 24.0);
    const calib::PanTiltRoll pose{-150, 25, 12};
    const calib::Matrix3d worldFromCamera = calib::worldFromCamera(pose);
    std::vector<Vector3d> spots;
    std::vector<cv::Point3d> points;
    for (const double x : {-0.5, -0.25, 0.0, 0.28, 0.48})
        for (const double y : {-0.26, -0.1, 0.0, 0.15, 0.27}) {
            // OpenCV looks along z with y down; here along y with z up.
            points.emplace_back(x, y, 1.0);
            spots.push_back(worldFromCamera * Vector3d(x, 1, -y).normalized());
        }
    std::vector<cv::Point2d> expected;
    const cv::Matx33d matrix(fx, 0, cx, 0, fx, cy, 0, 0, 1);
    cv::projectPoints(points, cv::Vec3d(), cv::Vec3d(), matrix,
                      std::vector<double>(coefficients.begin(), coefficients.end()), expected);
    const test::Folder folder;
    writeSpots(folder / "spots.exr", grid, spots);
    const io::PanoramaReader panorama(folder / "spots.exr", "", kCache);
    const ViewCamera camera{calib::LensMap(made.lens, made.sensor), worldFromCamera};
    const View view = renderView(panorama, grid, camera, Look::lens, {0, 0, kWidth, kHeight});
    double worst = 0;
    for (const auto& px : expected) {
        const Vector2d at(px.x + 0.5, px.y + 0.5);  // OpenCV counts from the first pixel's centre
        worst = std::max(worst, (centreOfLight(view.picture, at, 14) - at).norm());
    }
    INFO("worst " << worst << " px");
    CHECK(worst < 0.05);
}

TEST_CASE("OpenImageIO's st_warp with a view's maps gives the view", "[external]") {
    // Of its filters the interpolating cubic is the truest on waves this long; lanczos3, whose
    // weights are not brought to a sum of 1, ripples by 0.4 %.
    const PanoramaGrid grid = latlong(1024);
    const painted::WaveWorld world(24 / grid.pixelsPerRadian());
    const test::Folder folder;
    painted::writePanorama(folder / "world.exr", grid, {}, world);
    const io::PanoramaReader panorama(folder / "world.exr", "", kCache);
    calib::Lens lens;
    lens.focal_mm = 30;
    lens.distortion.radial = {2e-4, 0, -1.5e-7, 0, 0, 0};
    lens.shading = {6e-4, 1e-7, 0};
    const ViewCamera camera{calib::LensMap(lens, {36, 20.25, 192, 108}),
                            calib::worldFromCamera({40, 10, -4})};
    const PixelBounds bounds = wholeFrame(camera.lens.sensor());
    const View view = renderView(panorama, grid, camera, Look::lens, bounds);
    writeViewMaps(folder.path(), "bg.0007.exr", grid, false, {camera, Look::lens, bounds});

    OIIO::ImageBuf source((folder / "world.exr").string());
    // Latlong or not is nothing to this.
    OIIO::ImageBuf pixels;
    pixels.copy(source, OIIO::TypeFloat);
    const OIIO::ImageBuf st((folder / "bg.view-uv.0007.exr").string());
    const OIIO::ImageBuf shading((folder / "bg.view-shading.0007.exr").string());
    OIIO::ImageBuf warped;
    REQUIRE(
        OIIO::ImageBufAlgo::st_warp(warped, pixels, st, "catmull-rom", 0.0f, 0, 1, false, true));
    double worst = 0;
    for (int y = 0; y < 108; ++y)
        for (int x = 0; x < 192; ++x)
            for (int c = 0; c < 3; ++c) {
                const double theirs =
                    warped.getchannel(x, y, 0, c) * shading.getchannel(x, y, 0, c);
                const double ours = view.picture.at(x, y)[c];
                worst = std::max(worst, std::abs(theirs - ours) / ours);
            }
    INFO("worst relative difference " << worst);
    CHECK(worst < 1e-3);
}
