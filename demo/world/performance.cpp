#include "world/performance.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "world/point_spread.h"
#include "world/recording.h"
#include "world/sample_grid.h"

namespace plateloom::world {

namespace {

const Rgb kGreenScreen(0.05f, 0.34f, 0.09f);

// The part of the frame, in whole pixels, that the performer can reach: all of it where the lens
// does not say.
GridRegion reachOf(const Performer& performer, const calib::LensMap& lens,
                   const calib::Matrix3d& cameraFromWorld, int margin_px) {
    const calib::Sensor& sensor = lens.sensor();
    Vector2d low(1e9, 1e9), high(-1e9, -1e9);
    for (const Vector3d& place : performer.hull()) {
        const auto at = lens.recordedFromRay(cameraFromWorld * place);
        if (!at) return {0, 0, sensor.width_px, sensor.height_px};
        low = low.cwiseMin(*at);
        high = high.cwiseMax(*at);
    }
    const auto inside = [&](double v, int size) { return int(std::clamp(v, 0.0, double(size))); };
    GridRegion region;
    region.x0 = inside(std::floor(low.x()) - margin_px, sensor.width_px);
    region.y0 = inside(std::floor(low.y()) - margin_px, sensor.height_px);
    region.width = inside(std::ceil(high.x()) + margin_px, sensor.width_px) - region.x0;
    region.height = inside(std::ceil(high.y()) + margin_px, sensor.height_px) - region.y0;
    return region;
}

// Seven channels: the square with the performer in it, the performer alone, the matte.
LightAlong lightWith(const Performer& performer, const SceneView& view) {
    return [&](const Vector3d& direction, float* sum) {
        const auto met = performer.radiance(direction);
        const Rgb light = met ? *met : view.radiance(direction);
        for (int c = 0; c < 3; ++c) {
            sum[c] += light[c];
            if (met) sum[3 + c] += light[c];
        }
        if (met) sum[6] += 1;
    };
}

}  // namespace

PerformerPlace performerAt(const HeroSettings& settings, int frame) {
    const double share = settings.frames > 1 ? double(frame) / (settings.frames - 1) : 0;
    PerformerPlace place;
    // Ahead of the camera's turn at first, behind it at the end.
    place.pan_deg =
        settings.from.pan_deg - 10 + share * (settings.to.pan_deg - settings.from.pan_deg + 21);
    place.time_s = double(frame) * settings.rate.denom / settings.rate.num;
    place.seed = settings.seed;
    return place;
}

PerformanceFrame recordPerformance(const Shoot& hero, const Scene& scene, size_t frame,
                                   const Performer& performer, const io::Picture& square) {
    const PlannedPlate& plate = hero.plates[frame];
    const RenderSettings render = renderSettings(hero, plate);
    const calib::LensMap lens(plate.lens, hero.sensor);
    const calib::Matrix3d worldFromCamera = calib::worldFromCamera(plate.pose);
    const int n = render.samples, margin = spreadMargin_px(render.blur_px);
    const GridRegion reach = reachOf(performer, lens, worldFromCamera.transpose(), margin);

    const RayLattice rays = raysOf(lens, worldFromCamera, render);
    const SceneView view = scene.seenFrom(plate.origin_m, plate.time_s);
    const io::Picture light =
        gatherPixels(sampleGrid(lightWith(performer, view), 7, rays, render.seed,
                                {reach.x0 * n, reach.y0 * n, (reach.width + 2 * margin) * n,
                                 (reach.height + 2 * margin) * n}),
                     n, render.blur_px);

    PerformanceFrame out;
    out.location = square;
    out.keyed = io::Picture(square.width, square.height, 4);
    for (int y = 0; y < reach.height; ++y)
        for (int x = 0; x < reach.width; ++x) {
            const float* from = light.at(x, y);
            std::copy_n(from, 3, out.location.at(reach.x0 + x, reach.y0 + y));
            std::copy_n(from + 3, 4, out.keyed.at(reach.x0 + x, reach.y0 + y));
        }
    out.stage = io::Picture(square.width, square.height, 3);
    for (int y = 0; y < square.height; ++y)
        for (int x = 0; x < square.width; ++x) {
            const float* person = out.keyed.at(x, y);
            for (int c = 0; c < 3; ++c)
                out.stage.at(x, y)[c] = person[c] + (1 - person[3]) * kGreenScreen[c];
        }
    for (io::Picture* picture : {&out.stage, &out.keyed, &out.location})
        exposeLight(*picture, lens, render);
    return out;
}

void writePerformance(const std::filesystem::path& folder, const PerformanceFrame& frame,
                      const PlannedPlate& planned, const HeroSettings& settings, int number) {
    const auto write = [&](const char* kind, const io::Picture& picture) {
        char name[48];
        std::snprintf(name, sizeof name, "%s.%04d.exr", kind, number);
        std::filesystem::create_directories(folder / kind);
        writePlateExr(folder / kind / name, picture, planned, settings.rate);
    };
    write("stage", frame.stage);
    write("keyed", frame.keyed);
    write("location", frame.location);
}

}  // namespace plateloom::world
