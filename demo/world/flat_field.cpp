#include "world/flat_field.h"

#include <tbb/blocked_range.h>
#include <tbb/parallel_for.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "world/noise.h"
#include "world/point_spread.h"
#include "world/ray_lattice.h"

namespace plateloom::world {

namespace {

using calib::Vector2d;

struct Spot {
    Vector2d at_px;
    double radius2_px2, depth;
};

std::vector<Spot> dustOf(const FlatField& field, const calib::Sensor& sensor) {
    Dice dice(field.dust_seed * 77u + 3u);
    std::vector<Spot> spots;
    for (int i = 0; i < field.dust_spots; ++i) {
        const double x = dice.between(0, float(sensor.width_px));
        const double y = dice.between(0, float(sensor.height_px));
        const double radius_px = sensor.width_px / 2048.0 * dice.between(4, 16);
        spots.push_back({{x, y}, radius_px * radius_px, double(dice.between(0.08f, 0.4f))});
    }
    return spots;
}

double lightAt(const FlatField& field, const calib::LensMap& lens, const Vector3d& ray) {
    const double u_per_tan = lens.lens().focal_mm / lens.sensor().halfDiagonal_mm();
    const Vector2d u = Vector2d(ray.x(), -ray.z()) * (u_per_tan / ray.y());
    return 1 + field.tilt.dot(u) + u.dot(field.bend * u);
}

}  // namespace

io::Picture renderField(const calib::LensMap& lens, const FlatField& field) {
    const calib::Sensor& sensor = lens.sensor();
    io::Picture out(sensor.width_px, sensor.height_px, 3);
    const std::vector<Spot> dust = dustOf(field, sensor);
    const calib::Matrix3d screenFromCamera = calib::worldFromCamera(field.facing);
    const RayLattice rays(
        [&](double x, double y) -> std::optional<Vector3d> {
            const auto ray = lens.rayFromRecorded({x, y});
            if (!ray) return std::nullopt;
            return screenFromCamera * *ray;
        },
        sensor.width_px, sensor.height_px);
    tbb::parallel_for(tbb::blocked_range<int>(0, out.height, 16), [&](const auto& rows) {
        for (int y = rows.begin(); y < rows.end(); ++y)
            for (int x = 0; x < out.width; ++x) {
                const Vector2d px(x + 0.5, y + 0.5);
                const auto ray = rays.at(px.x(), px.y());
                double value = ray ? field.level * lightAt(field, lens, *ray) *
                                         std::max(0.0, lens.transmission(px))
                                   : 0;
                if (field.texture.x() > 0)
                    value *= 1 + field.texture.x() * octaves(float(px.x() / field.texture.y()),
                                                             float(px.y() / field.texture.y()), 3,
                                                             0.6f, field.seed);
                for (const Spot& spot : dust) {
                    const double r2 = (px - spot.at_px).squaredNorm() / spot.radius2_px2;
                    if (r2 < 1) value *= 1 - spot.depth * (1 - r2) * (1 - r2);
                }
                std::fill_n(out.at(x, y), 3, float(value));
            }
    });
    if (field.noise > 0) addNoise(out, field.noise, 0.05, field.seed);
    Dice dice(field.dust_seed * 91u + 11u);
    for (int i = 0; i < field.dead_pixels; ++i) {
        const int x = dice.below(out.width), y = dice.below(out.height);
        std::fill_n(out.at(x, y), 3, dice.below(2) == 0 ? 0.0f : 4.0f);
    }
    for (float& v : out.data) {
        v += float(field.black);
        if (field.clips_at > 0) v = std::min(v, float(field.clips_at));
    }
    return out;
}

}  // namespace plateloom::world
