#include "stitch/resample/warp.h"

#include <algorithm>
#include <cmath>

namespace plateloom::stitch {

namespace {

constexpr double kLargestStep_rad = 0.0125;
constexpr int kLargestStep = 16;
constexpr double kTolerance_px = 0.001;

// The colour itself. Where next to nothing covers, half's steps are all that is left of it.
void unassociate(float* rgba, size_t count) {
    constexpr float kLeastAlpha = 1e-3f;
    for (size_t i = 0; i < count; ++i, rgba += 4) {
        if (rgba[3] == 1) continue;
        const float factor = rgba[3] >= kLeastAlpha ? 1 / rgba[3] : 0;
        for (int c = 0; c < 3; ++c) rgba[c] *= factor;
        if (factor == 0) rgba[3] = 0;
    }
}

}  // namespace

PictureCone pictureCone(const PlacedPlate& plate) {
    constexpr int kSteps = 32;
    const auto& sensor = plate.lens.sensor();
    PictureCone cone;
    cone.axis = plate.worldFromCamera.col(1);
    double least_cosine = 1;
    bool any = false;
    for (int j = 0; j <= kSteps; ++j)
        for (int i = 0; i <= kSteps; ++i) {
            const calib::Vector2d px(double(i) * sensor.width_px / kSteps,
                                     double(j) * sensor.height_px / kSteps);
            const auto ray = plate.lens.rayFromRecorded(px);
            if (!ray) continue;
            any = true;
            const double cosine =
                plate.distance ? cone.axis.dot(plate.directionFromCamera(*ray)) : ray->y();
            least_cosine = std::min(least_cosine, cosine);
        }
    // Between two samples of the frame's edge the picture reaches a little further.
    cone.reach_rad = any ? std::acos(std::clamp(least_cosine, -1.0, 1.0)) + 0.02 : 0;
    return cone;
}

int latticeStep(const PanoramaGrid& grid) {
    int step = kLargestStep;
    while (step > 2 && step > kLargestStep_rad * grid.pixelsPerRadian()) step /= 2;
    return step;
}

double largestScale(const PlacedPlate& plate, const PanoramaGrid& grid) {
    constexpr int kSteps = 8;
    const auto& sensor = plate.lens.sensor();
    double scale = 1;
    for (int j = 0; j <= kSteps; ++j)
        for (int i = 0; i <= kSteps; ++i) {
            const calib::Vector2d px((sensor.width_px - 1.0) * i / kSteps,
                                     (sensor.height_px - 1.0) * j / kSteps);
            const auto here = plate.lens.rayFromRecorded(px);
            for (const auto& step : {calib::Vector2d(1, 0), calib::Vector2d(0, 1)}) {
                const auto beside = plate.lens.rayFromRecorded(px + step);
                if (!here || !beside) continue;
                const double angle_rad = (*beside - *here).norm();
                if (angle_rad > 0)
                    scale = std::max(scale, 1 / (angle_rad * grid.pixelsPerRadian()));
            }
        }
    return scale;
}

PositionLattice panoramaLattice(const PlacedPlate& plate, const PanoramaGrid& grid,
                                const CellRange& cells, int step, double tolerance_px) {
    const PictureCone cone = pictureCone(plate);
    // Three steps along both axes at once; rows of a cylinder are never farther apart than this.
    const double margin_rad = 3 * 1.415 * step / grid.pixelsPerRadian();
    const double far_cosine = std::cos(std::min(3.1, cone.reach_rad + margin_rad));
    auto exact = [plate, grid](double x, double y) {
        return plate.lens.recordedFromRay(plate.cameraFromDirection(grid.directionAt(x, y)));
    };
    auto far = [axis = cone.axis, far_cosine, grid](double x, double y) {
        return axis.dot(grid.directionAt(x, y)) < far_cosine;
    };
    const auto& sensor = plate.lens.sensor();
    return {std::move(exact), std::move(far), cells,
            PositionLattice::Settings{step, tolerance_px, sensor.width_px, sensor.height_px}};
}

void unshade(const PlacedPlate& plate, const SamplePoint* points, size_t count, float* rgba) {
    const auto& sensor = plate.lens.sensor();
    const auto& shading = plate.lens.lens().shading;
    const float mm_x = float(sensor.mmPerPixelX()), mm_y = float(sensor.mmPerPixelY());
    const float centre_x = 0.5f * float(sensor.width_px), centre_y = 0.5f * float(sensor.height_px);
    const float a1 = float(shading.a1), a2 = float(shading.a2), a3 = float(shading.a3);
    for (size_t i = 0; i < count; ++i, rgba += 4) {
        if (rgba[3] == 0) continue;
        const float x = (points[i].x - centre_x) * mm_x, y = (points[i].y - centre_y) * mm_y;
        const float r2 = x * x + y * y;
        const float transmission = 1 - r2 * (a1 + r2 * (a2 + r2 * a3));
        if (!(transmission > kLeastTransmission)) {
            std::fill_n(rgba, 4, 0.0f);
            continue;
        }
        const float factor = 1 / transmission;
        for (int c = 0; c < 3; ++c) rgba[c] *= factor * plate.gain[c];
    }
}

PlateWarp::PlateWarp(const PlacedPlate& plate, SplitPlates& plates, const PanoramaGrid& grid,
                     const CellRange& cells)
    : plate_(plate),
      plates_(plates),
      lattice_(panoramaLattice(plate, grid, cells, latticeStep(grid), kTolerance_px)),
      points_(size_t(lattice_.step()) * lattice_.step()) {}

bool PlateWarp::cell(int cx, int cy, float* rgba) {
    if (!lattice_.cell(cx, cy, points_.data())) return false;
    if (!pixels_.plate) pixels_ = plates_.get(plate_.plate);
    resample(*pixels_.plate, pixels_.bright.get(), points_.data(), points_.size(), rgba);
    unshade(plate_, points_.data(), points_.size(), rgba);
    unassociate(rgba, points_.size());
    return true;
}

}  // namespace plateloom::stitch
