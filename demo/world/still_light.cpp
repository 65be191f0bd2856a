#include "world/still_light.h"

#include <tbb/blocked_range.h>
#include <tbb/parallel_for.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "world/point_spread.h"
#include "world/sample_grid.h"

namespace plateloom::world {

namespace {

using calib::Matrix3d;

constexpr int kFine = 2;      // kept samples a pixel
constexpr int kTile_px = 32;  // movers are rendered into tiles

template <class Body>
void onRows(int height, const Body& body) {
    tbb::parallel_for(tbb::blocked_range<int>(0, height, 8), [&](const auto& rows) {
        for (int y = rows.begin(); y < rows.end(); ++y) body(y);
    });
}

// The same lens over a sensor that reaches `margin_px` further on each side, at finer pixels.
calib::LensMap widened(const calib::LensMap& lens, int margin_px) {
    calib::Sensor wide = lens.sensor();
    const double share_x = double(wide.width_px + 2 * margin_px) / wide.width_px;
    const double share_y = double(wide.height_px + 2 * margin_px) / wide.height_px;
    wide.width_mm *= share_x;
    wide.height_mm *= share_y;
    wide.width_px = kFine * (wide.width_px + 2 * margin_px);
    wide.height_px = kFine * (wide.height_px + 2 * margin_px);
    return {lens.lens(), wide};
}

// World rays through a frame's grid of `samples` a pixel with `margin_px` round it.
RayLattice raysThrough(const calib::LensMap& lens, const Matrix3d& worldFromCamera, int samples,
                       int margin_px) {
    const auto ray = [=](double x, double y) -> std::optional<Vector3d> {
        const auto camera =
            lens.rayFromRecorded({x / samples - margin_px, y / samples - margin_px});
        if (!camera) return std::nullopt;
        return worldFromCamera * *camera;
    };
    return {ray, (lens.sensor().width_px + 2 * margin_px) * samples,
            (lens.sensor().height_px + 2 * margin_px) * samples};
}

// Catmull and Rom's cubic through four samples, `t` past the second.
inline void cubicThrough(float t, float w[4]) {
    const float t2 = t * t, t3 = t2 * t;
    w[0] = 0.5f * (-t3 + 2 * t2 - t);
    w[1] = 0.5f * (3 * t3 - 5 * t2 + 2);
    w[2] = 0.5f * (-3 * t3 + 4 * t2 + t);
    w[3] = 0.5f * (t3 - t2);
}

// Where pixels of a frame lie in what is kept: of things far away, and how much further per
// 1 / metre. Exact every 16 pixels, a cubic (Lagrange) through four between.
class Places {
public:
    using Place = Eigen::Vector4d;

    template <class Exact>
    Places(const Exact& exact, int width, int height)
        : columns_(width / kStep + 5), rows_(height / kStep + 5) {
        nodes_.resize(size_t(columns_) * size_t(rows_));
        onRows(rows_, [&](int j) {
            for (int i = 0; i < columns_; ++i)
                nodes_[size_t(j) * size_t(columns_) + size_t(i)] =
                    exact((i - 1) * kStep, (j - 1) * kStep);
        });
    }

    [[nodiscard]] Place at(double x, double y) const {
        const double u = x / kStep, v = y / kStep;
        const int i = int(u), j = int(v);
        const auto wx = weights(u - i), wy = weights(v - j);
        Place sum = Place::Zero();
        for (int row = 0; row < 4; ++row) {
            const Place* n = &nodes_[size_t(j + row) * size_t(columns_) + size_t(i)];
            sum += wy[size_t(row)] * (wx[0] * n[0] + wx[1] * n[1] + wx[2] * n[2] + wx[3] * n[3]);
        }
        return sum;
    }

private:
    static constexpr int kStep = 16;
    static std::array<double, 4> weights(double t) {
        const double a = t + 1, b = t - 1, c = t - 2;
        return {-t * b * c / 6, a * b * c / 2, -a * t * c / 2, a * t * b / 6};
    }

    int columns_, rows_;
    std::vector<Place> nodes_;
};

}  // namespace

StillLight::StillLight(const Scene& scene, const calib::LensMap& lens,
                       const Matrix3d& worldFromCamera, const Vector3d& origin_m, int margin_px,
                       const RenderSettings& settings)
    : scene_(&scene),
      lens_(lens),
      fine_lens_(widened(lens, margin_px)),
      worldFromCamera_(worldFromCamera),
      origin_m_(origin_m),
      settings_(settings),
      width_(fine_lens_.sensor().width_px),
      height_(fine_lens_.sensor().height_px) {
    const double blur = kFine * settings.blur_px;
    const int margin = spreadMargin_px(blur, kFine);
    const RayLattice rays = raysThrough(fine_lens_, worldFromCamera, 1, margin);
    const auto lightAt = [&](float flicker_level) {
        const SceneView view = scene.standingFrom(origin_m, flicker_level);
        return gatherPixels(sampleGrid(view, rays, settings.seed), 1, blur, kFine);
    };
    kept_.resize(size_t(width_) * size_t(height_));
    const bool flickers = scene.settings().flicker.has_value();
    const io::Picture steady = lightAt(flickers ? 0.0f : 1.0f);
    const io::Picture full = flickers ? lightAt(1.0f) : io::Picture();
    for (size_t i = 0; i < kept_.size(); ++i)
        for (size_t c = 0; c < 3; ++c) {
            kept_[i].steady[c] = steady.data[3 * i + c];
            kept_[i].flickering[c] = flickers ? full.data[3 * i + c] - steady.data[3 * i + c] : 0;
        }

    per_metre_.resize(kept_.size() / (kFine * kFine));
    const SceneView view = scene.standingFrom(origin_m, 1);
    onRows(height_ / kFine, [&](int y) {
        for (int x = 0; x < width_ / kFine; ++x)
            if (const auto ray = rays.at(kFine * (x + 0.5) + margin, kFine * (y + 0.5) + margin))
                per_metre_[size_t(y) * size_t(width_ / kFine) + size_t(x)] =
                    float(1 / view.distanceOfLight_m(*ray));
    });
}

io::Picture StillLight::light(const Matrix3d& worldFromCamera, const Vector3d& origin_m,
                              std::optional<double> time_s) const {
    const auto& flicker = scene_->settings().flicker;
    const float level = time_s && flicker ? levelAt(*flicker, *time_s) : 1.0f;
    io::Picture out = standing(worldFromCamera, origin_m, level);
    if (time_s) addMovers(worldFromCamera, origin_m, *time_s, out);
    return out;
}

io::Picture StillLight::standing(const Matrix3d& worldFromCamera, const Vector3d& origin_m,
                                 float flicker_level) const {
    const int width = lens_.sensor().width_px, height = lens_.sensor().height_px;
    const Vector3d aside = origin_m - origin_m_;
    const Matrix3d keptFromCamera = worldFromCamera_.transpose() * worldFromCamera;
    const Vector3d kept_aside = worldFromCamera_.transpose() * aside;
    const auto exact = [&](double x, double y) -> Places::Place {
        constexpr double kNear = 0.25;  // 1 / metre
        const auto ray = lens_.rayFromRecorded({x, y});
        if (!ray) return Places::Place::Constant(-1e9);
        const Vector3d far = keptFromCamera * *ray;
        const auto there = fine_lens_.recordedFromRay(far);
        const auto nearer = fine_lens_.recordedFromRay(far + kNear * kept_aside);
        if (!there || !nearer) return Places::Place::Constant(-1e9);
        const calib::Vector2d per = (*nearer - *there) / kNear;
        return {there->x(), there->y(), per.x(), per.y()};
    };
    const Places places(exact, width, height);
    io::Picture out(width, height, 3);
    onRows(height, [&](int y) {
        for (int x = 0; x < width; ++x) {
            const Places::Place place = places.at(x + 0.5, y + 0.5);
            const int cx = int(place[0]) / kFine, cy = int(place[1]) / kFine;
            if (place[0] < 2 || place[1] < 2 || place[0] > width_ - 3 || place[1] > height_ - 3)
                continue;
            const double near = per_metre_[size_t(cy) * size_t(width_ / kFine) + size_t(cx)];
            const float u = float(place[0] + near * place[2] - 0.5);
            const float v = float(place[1] + near * place[3] - 0.5);
            const int i = int(u), j = int(v);
            float wx[4], wy[4], sum[6] = {};
            cubicThrough(u - float(i), wx);
            cubicThrough(v - float(j), wy);
            for (int row = 0; row < 4; ++row) {
                const Kept* k = &kept_[size_t(j - 1 + row) * size_t(width_) + size_t(i - 1)];
                for (int m = 0; m < 4; ++m) {
                    const float weight = wy[row] * wx[m];
                    for (int c = 0; c < 3; ++c) {
                        sum[c] += weight * k[m].steady[c];
                        sum[3 + c] += weight * k[m].flickering[c];
                    }
                }
            }
            for (int c = 0; c < 3; ++c)
                out.at(x, y)[c] = std::max(0.0f, sum[c] + flicker_level * sum[3 + c]);
        }
    });
    return out;
}

// Tiles in which something that moves, or its mirror image in a puddle, may be seen are rendered
// from the scene itself.
void StillLight::addMovers(const Matrix3d& worldFromCamera, const Vector3d& origin_m, double time_s,
                           io::Picture& light) const {
    const int n = settings_.samples, margin = spreadMargin_px(settings_.blur_px);
    const SceneView view = scene_->seenFrom(origin_m, time_s);
    const RayLattice rays = raysThrough(lens_, worldFromCamera, n, margin);
    const int columns = (light.width + kTile_px - 1) / kTile_px;
    const int rows = (light.height + kTile_px - 1) / kTile_px;
    tbb::parallel_for(0, columns * rows, [&](int tile) {
        const int x0 = tile % columns * kTile_px, y0 = tile / columns * kTile_px;
        const int width = std::min(kTile_px, light.width - x0);
        const int height = std::min(kTile_px, light.height - y0);
        // The tile with the margin from which light spreads into it, and two pixels to spare.
        const auto met = [&] {
            for (int y = -2; y <= height + 2 * margin + 2; y += 2)
                for (int x = -2; x <= width + 2 * margin + 2; x += 2) {
                    const double u = std::clamp<double>((x0 + x) * n, 0, rays.width());
                    const double v = std::clamp<double>((y0 + y) * n, 0, rays.height());
                    const auto ray = rays.at(u, v);
                    if (ray && view.meetsMover(*ray)) return true;
                }
            return false;
        };
        if (!met()) return;
        const GridRegion region{x0 * n, y0 * n, (width + 2 * margin) * n,
                                (height + 2 * margin) * n};
        const io::Picture here =
            gatherPixels(sampleGrid(view, rays, settings_.seed, region), n, settings_.blur_px);
        for (int y = 0; y < height; ++y)
            std::copy_n(here.at(0, y), size_t(width) * 3, light.at(x0, y0 + y));
    });
}

}  // namespace plateloom::world
