#include "stitch/compose/cell_merit.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <random>

#include "stitch/compose/compose.h"
#include "tests/painted_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;
using namespace plateloom::painted;

namespace {

const calib::Sensor kCamera{36, 20.25, 400, 225};
constexpr double kPixelsPerRadian = 28.0 / 36 * 400;
const PanoramaGrid kNative = latlong(1968);

calib::Lens plainLens() {
    calib::Lens lens;
    lens.focal_mm = 28;
    return lens;
}

// Foliage, detail of 4 to 8 pixels a period, under a plain sky.
bool isFoliage(const Vector3d& d) {
    return d.z() < 0.06;
}
double garden(const Vector3d& d) {
    if (!isFoliage(d)) return 0.6;
    const double u = std::atan2(d.x(), d.y()) * kPixelsPerRadian, v = d.z() * kPixelsPerRadian;
    return 0.4 + 0.1 * std::sin(1.5 * u + 0.3 * v) + 0.1 * std::sin(1.1 * v - 0.7 * u) +
           0.1 * std::sin(0.8 * u + 0.9 * v);
}

void blur(io::PlatePixels& pixels, double sigma_px) {
    cv::Mat rgba(pixels.height, pixels.width, CV_32FC4, pixels.full.data());
    cv::GaussianBlur(rgba, rgba, {}, sigma_px);
}

void addNoise(io::PlatePixels& pixels, float sigma, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<float> noise(0, sigma);
    for (size_t i = 0; i < pixels.full.size(); ++i)
        if (i % 4 != 3) pixels.full[i] += noise(random);
}

// Plates of the same view, one beside the other by a little.
Job sameView(int plates) {
    Job job;
    for (int k = 0; k < plates; ++k)
        job.add({0.3 * k - 0.15 * plates, 0.1 * (k % 3), 0}, plainLens(), kCamera, garden);
    return job;
}

io::Picture panoramaOf(const Job& job) {
    io::Picture panorama(kNative.width, kNative.height, 4);
    PlateStore store = job.store();
    ComposeSettings settings;
    settings.grid = kNative;
    (void)compose(
        job.plates, store, settings,
        [&](int x, int y, const io::Picture& tile) {
            for (int j = 0; j < tile.height; ++j)
                std::copy_n(tile.at(0, j), size_t(tile.width) * 4, panorama.at(x, y + j));
        },
        [](const std::string&, double) {});
    return panorama;
}

// Uses every pixel that all plates hold well within their frames.
template <class F>
void forEachInner(F&& use) {
    const int middle_x = kNative.width / 2, middle_y = kNative.height / 2;
    for (int y = middle_y - 90; y < middle_y + 90; ++y)
        for (int x = middle_x - 150; x < middle_x + 150; ++x)
            use(x, y, kNative.directionAt(x + 0.5, y + 0.5));
}

// Root mean square of the steps from pixel to pixel among the foliage.
double fineDetail(const io::Picture& panorama) {
    double sum = 0, count = 0;
    forEachInner([&](int x, int y, const Vector3d& direction) {
        if (!isFoliage(direction)) return;
        const double step = double(panorama.at(x + 1, y)[0] - panorama.at(x, y)[0]);
        sum += step * step;
        ++count;
    });
    return std::sqrt(sum / count);
}

double errorPercentile(const io::Picture& panorama, double share) {
    std::vector<double> errors;
    forEachInner([&](int x, int y, const Vector3d& direction) {
        errors.push_back(std::abs(double(panorama.at(x, y)[0]) - garden(direction)));
    });
    const auto at = errors.begin() + std::ptrdiff_t(share * double(errors.size()));
    std::nth_element(errors.begin(), at, errors.end());
    return *at;
}

}  // namespace

TEST_CASE("One sharp plate among nine soft ones of the same view is shown", "[merit]") {
    Job job = sameView(10);
    const double sharp = fineDetail(panoramaOf(job));
    for (size_t k = 0; k < 10; ++k)
        if (k != 3) blur(job.pixels[k], 2);
    CHECK(fineDetail(panoramaOf(job)) > 0.95 * sharp);
}

TEST_CASE("The sharp reshoot of a soft plate is shown wherever there is detail", "[merit]") {
    Job job;
    for (const double pan : {0.0, 0.4}) job.add({pan, 0, 0}, plainLens(), kCamera, garden);
    blur(job.pixels[0], 1.5);
    PlateStore store = job.store();
    const Overview overview = makeOverview(job.plates, store, kNative);
    const LabelMap map = findSeams(overview);
    double soft = 0, all = 0;
    for (int y = 0; y < map.height; ++y)
        for (int x = 0; x < map.width; ++x) {
            const auto direction = overview.grid.directionAt(x + 0.5, y + 0.5);
            const auto px =
                job.plates[1].lens.recordedFromRay(job.plates[1].cameraFromDirection(direction));
            if (!px || !isFoliage(direction)) continue;
            constexpr double kEdge_px = 20;  // frames end here: one of the two is cut off
            if (px->x() < kEdge_px || px->x() > kCamera.width_px - kEdge_px ||
                px->y() > kCamera.height_px - kEdge_px)
                continue;
            ++all;
            soft += map.at(x, y) == 0;
        }
    REQUIRE(all > 1000);
    CHECK(soft / all < 0.02);
}

TEST_CASE("Noisy plates give way to clean ones of the same view", "[merit]") {
    Job job = sameView(10);
    for (size_t k = 0; k < 10; ++k) addNoise(job.pixels[k], k % 2 == 0 ? 0.1f : 0.01f, unsigned(k));
    Job clean = sameView(10);
    for (size_t k = 0; k < 10; ++k) addNoise(clean.pixels[k], 0.01f, unsigned(k));
    CHECK(errorPercentile(panoramaOf(job), 0.9) < 1.1 * errorPercentile(panoramaOf(clean), 0.9));
}

TEST_CASE("What passed through one picture is not shown for its detail", "[merit]") {
    // A figure of fine stripes before a plain wall on one of two plates that show it equally well.
    const auto wall = [](const Vector3d&) { return 0.5; };
    const auto figure = [](const Vector3d& d) {
        const bool inside = std::abs(d.x()) < 0.06 && std::abs(d.z()) < 0.1;
        return inside ? 0.9 + 0.3 * std::sin(1.5 * d.x() * kPixelsPerRadian) : 0.5;
    };
    Job job;
    job.add({1, 0, 0}, plainLens(), kCamera, wall);
    job.add({-1, 0, 0}, plainLens(), kCamera, figure);
    PlateStore store = job.store();
    const Overview overview = makeOverview(job.plates, store, kNative);
    const auto& plain = overview.plates[0];
    const int x = overview.grid.width / 2 - plain.x0, y = overview.grid.height / 2 - plain.y0;
    CHECK(plain.cost[plain.at(x, y)] < 0.02f);
}

TEST_CASE("Pixels per radian count as on the axis off it, and less where a lens has fewer",
          "[merit]") {
    const calib::LensMap pinhole(plainLens(), kCamera);
    const PixelDensity density(pinhole);
    for (const auto& at : {Vector2d(200, 112.5), Vector2d(2, 2), Vector2d(390, 100)})
        CHECK(density.at(float(at.x()), float(at.y())) == Approx(kPixelsPerRadian).epsilon(0.001));
    calib::Lens barrel = plainLens();
    barrel.distortion.radial = {2e-3, 0, 0, 0, 0, 0};  // flat from recorded: squeezes the corners
    const PixelDensity squeezed{calib::LensMap(barrel, kCamera)};
    CHECK(squeezed.at(200, 112.5f) == Approx(kPixelsPerRadian).epsilon(0.01));
    CHECK(squeezed.at(2, 2) < 0.9 * kPixelsPerRadian);
}
