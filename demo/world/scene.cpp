#include "world/scene.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <numbers>

#include "world/noise.h"

namespace plateloom::world {

namespace {

constexpr float kGlow = 7.0f;  // how far a lamp's glow reaches, in its radii

// A number that grows with the plan angle, 0 to 4 once round, without a trigonometric function.
double diamondAngle(double x, double y) {
    const double sum = std::abs(x) + std::abs(y);
    if (sum <= 0) return 0;
    const double p = y / sum;
    if (x < 0) return 2.0 - p;
    return p < 0 ? 4.0 + p : p;
}

// A direction 46 degrees up where no tower stands in the way of the sun.
Vector3d openSkyToward(const SquarePlan& plan, uint32_t seed) {
    Dice dice(seed + 5000);
    Vector3d toward(0, 0.69, 0.72);
    for (int attempt = 0; attempt < 20; ++attempt) {
        const double around = dice.between(0, 6.28f);
        const Vector2d level(0.69 * std::cos(around), 0.69 * std::sin(around));
        toward = Vector3d(level.x(), level.y(), 0.72);
        bool free = true;
        for (const double aside : {-0.03, 0.0, 0.03}) {
            const Vector2d beside = level + aside * Vector2d(-level.y(), level.x());
            for (const auto* ring : {&plan.near_ring, &plan.far_ring}) {
                const RingHit out = leaveRing(*ring, Vector2d::Zero(), beside);
                const Wall& wall = (*ring)[size_t(out.wall)];
                const double along = (out.times * beside - wall.start).dot(wall.along);
                free = free && out.times * 0.70 - kGround_m > topOf(wall, along);
            }
        }
        if (free) break;
    }
    return toward.normalized();
}

}  // namespace

Scene::Scene(const SceneSettings& settings)
    : settings_(settings), plan_(planSquare(settings.seed, settings.texture)) {
    sky_.light = settings.light;
    sky_.seed = settings.seed;
    sky_.towardSun = openSkyToward(plan_, settings.seed);
}

Rgb Scene::lampRadiance(size_t lamp, float flicker_level) const {
    const auto& flicker = settings_.flicker;
    const bool flickers = flicker && size_t(flicker->lamp) == lamp;
    return plan_.lamps[lamp].radiance * (flickers ? flicker_level : 1.0f);
}

LampLights Scene::lights(float flicker_level) const {
    LampLights out;
    int count = 0;
    const auto add = [&](const Vector3d& centre, const Rgb& radiance, double radius2) {
        assert(count < out.x.size());
        out.x[count] = float(centre.x());
        out.y[count] = float(centre.y());
        out.z[count] = float(centre.z());
        out.red[count] = radiance[0] * float(radius2);
        out.green[count] = radiance[1] * float(radius2);
        out.blue[count] = radiance[2] * float(radius2);
        ++count;
    };
    Vector3d middle = Vector3d::Zero();
    Rgb bulb_radiance = Rgb::Zero();
    double bulbs = 0, bulbs_radius2 = 0;
    for (size_t i = 0; i < plan_.lamps.size(); ++i) {
        const Lamp& lamp = plan_.lamps[i];
        const double radius2 = lamp.radius_m * lamp.radius_m;
        if (lamp.radius_m > 0.05) {
            add(lamp.centre, lampRadiance(i, flicker_level), radius2);
            continue;
        }
        bulbs += 1;
        middle += lamp.centre;
        bulbs_radius2 += radius2;
        bulb_radiance = lamp.radiance;
    }
    if (bulbs > 0) add(middle / bulbs, bulb_radiance, bulbs_radius2);
    return out;
}

SceneView Scene::seenFrom(const Vector3d& origin_m, std::optional<double> time_s) const {
    if (!time_s) return standingFrom(origin_m, 1);
    const float level = settings_.flicker ? levelAt(*settings_.flicker, *time_s) : 1.0f;
    return {*this, origin_m, moversAt(plan_, *time_s, settings_.runner), level};
}

SceneView Scene::standingFrom(const Vector3d& origin_m, float flicker_level) const {
    return {*this, origin_m, {}, flicker_level};
}

Rgb Scene::daylightAt(const Vector3d& point, const Vector3d& normal) const {
    Rgb shade(0.20f, 0.25f, 0.34f);
    const double facing = normal.dot(sky_.towardSun);
    if (facing <= 0) return shade;
    // Does the row of houses that stands toward the sun throw its shadow here?
    const Vector2d plan_sun = sky_.towardSun.head<2>();
    const RingHit out = leaveRing(plan_.near_ring, point.head<2>(), plan_sun);
    if (out.wall >= 0 && out.times > 1e-6) {
        const Wall& wall = plan_.near_ring[size_t(out.wall)];
        const Vector2d over = point.head<2>() + out.times * plan_sun;
        const double height = point.z() + out.times * sky_.towardSun.z() - kGround_m;
        if (height < topOf(wall, (over - wall.start).dot(wall.along))) return shade;
    }
    return shade + Rgb(1.05f, 0.98f, 0.86f) * float(facing);
}

namespace {

Rgb lamplightAt(const Vector3d& point, const Vector3d& normal, const LampLights& lamps) {
    using Lights = LampLights::Lights;
    const Lights dx = lamps.x - float(point.x()), dy = lamps.y - float(point.y()),
                 dz = lamps.z - float(point.z());
    const Lights d2 = dx * dx + dy * dy + dz * dz;
    const Lights facing =
        (dx * float(normal.x()) + dy * float(normal.y()) + dz * float(normal.z())).max(0.0f);
    // A small ball of radiance L and radius r gives L (r / d)^2 cos to a white surface.
    const Lights share = facing / (d2 * d2.sqrt());
    return Rgb(0.011f, 0.013f, 0.018f) +
           Rgb((lamps.red * share).sum(), (lamps.green * share).sum(), (lamps.blue * share).sum());
}

}  // namespace

Rgb Scene::lightAt(const Vector3d& point, const Vector3d& normal, const LampLights& lamps) const {
    return settings_.light == Light::day ? daylightAt(point, normal)
                                         : lamplightAt(point, normal, lamps);
}

SceneView::SceneView(const Scene& scene, const Vector3d& origin_m, const Movers& movers,
                     float flicker_level)
    : scene_(&scene),
      origin_(origin_m),
      lights_(scene.lights(flicker_level)),
      bins_(size_t(kBins)) {
    if (scene.settings().light == Light::constant) return;
    posts_ = scene.plan().posts;
    blocks_ = scene.plan().blocks;
    still_posts_ = posts_.size();
    still_blocks_ = blocks_.size();
    posts_.insert(posts_.end(), movers.posts.begin(), movers.posts.end());
    blocks_.insert(blocks_.end(), movers.blocks.begin(), movers.blocks.end());
    for (size_t i = 0; i < posts_.size(); ++i)
        file({Thing::Kind::post, int(i)}, posts_[i].foot, posts_[i].radius_m);
    for (size_t i = 0; i < blocks_.size(); ++i)
        file({Thing::Kind::block, int(i)}, blocks_[i].centre,
             std::hypot(blocks_[i].half_length_m, blocks_[i].half_width_m));
    const auto& lamps = scene.plan().lamps;
    for (size_t i = 0; i < lamps.size(); ++i) {
        lamp_radiance_.push_back(scene.lampRadiance(i, flicker_level));
        file({Thing::Kind::lamp, int(i)}, lamps[i].centre.head<2>(), kGlow * lamps[i].radius_m);
    }
}

void SceneView::file(Thing thing, const Vector2d& middle, double reach_m) {
    const Vector2d to = middle - origin_.head<2>();
    const double away = to.norm();
    const double half = away <= reach_m ? std::numbers::pi : std::asin(reach_m / away);
    const double angle = std::atan2(to.y(), to.x());
    const auto bin = [](double a) {
        return int(diamondAngle(std::cos(a), std::sin(a)) * kBinsPerSide) % kBins;
    };
    if (half > 1.5) {
        for (auto& list : bins_) list.push_back(thing);
        return;
    }
    const int last = (bin(angle + half) + 1) % kBins;
    for (int i = (bin(angle - half) + kBins - 1) % kBins;; i = (i + 1) % kBins) {
        bins_[size_t(i)].push_back(thing);
        if (i == last) break;
    }
}

bool SceneView::hitRing(const std::vector<Wall>& ring, bool detail, const Ray& ray,
                        Hit& hit) const {
    const RingHit out = leaveRing(ring, ray.origin.head<2>(), ray.direction.head<2>());
    if (out.wall < 0 || out.times >= hit.times) return false;
    const Wall& wall = ring[size_t(out.wall)];
    const Vector3d at = ray.origin + out.times * ray.direction;
    const double above = at.z() - kGround_m;
    const double along = (at.head<2>() - wall.start).dot(wall.along);
    const House& house = houseAt(wall, along);
    if (above > topOf(house, along)) return false;
    hit.times = out.times;
    hit.surface = frontAt(house, along, above, detail);
    hit.normal = {wall.inward.x(), wall.inward.y(), 0};
    return true;
}

void SceneView::hitPost(const Post& post, const Ray& ray, Hit& hit) const {
    const Vector2d d = ray.direction.head<2>(), o = ray.origin.head<2>() - post.foot;
    const double a = d.squaredNorm(), b = o.dot(d),
                 c = o.squaredNorm() - post.radius_m * post.radius_m;
    const double root = b * b - a * c;
    if (root <= 0 || a < 1e-14) return;
    const double times = (-b - std::sqrt(root)) / a;
    if (times <= 0 || times >= hit.times) return;
    const double height = ray.origin.z() + times * ray.direction.z();
    if (height < post.bottom_m || height > post.top_m) return;
    const Vector2d n = (o + times * d) / post.radius_m;
    hit.times = times;
    hit.normal = {n.x(), n.y(), 0};
    const double round_m =
        post.rough ? (diamondAngle(n.x(), n.y()) - 2) * post.radius_m * 1.5708 : 0.0;
    hit.surface = postAt(post, round_m, height);
}

void SceneView::hitBlock(const Block& block, const Ray& ray, Hit& hit) const {
    const Vector2d across(-block.along.y(), block.along.x());
    const Vector2d o = ray.origin.head<2>() - block.centre, d = ray.direction.head<2>();
    const double half[2] = {block.half_length_m, block.half_width_m};
    const double os[2] = {o.dot(block.along), o.dot(across)};
    const double ds[2] = {d.dot(block.along), d.dot(across)};
    double enter = 0, leave = 1e30;
    int axis = -1;
    for (int i = 0; i < 2; ++i) {
        if (std::abs(ds[i]) < 1e-14) {
            if (std::abs(os[i]) > half[i]) return;
            continue;
        }
        const double near = (-std::copysign(half[i], ds[i]) - os[i]) / ds[i];
        const double far = (std::copysign(half[i], ds[i]) - os[i]) / ds[i];
        if (near > enter) {
            enter = near;
            axis = i;
        }
        leave = std::min(leave, far);
    }
    if (axis < 0 || enter >= leave || enter >= hit.times) return;
    const double height = ray.origin.z() + enter * ray.direction.z();
    if (height < block.bottom_m || height > block.top_m) return;
    const double side = -std::copysign(1.0, ds[axis]);
    const Vector2d n = side * (axis == 0 ? block.along : across);
    const double along = os[1 - axis] + enter * ds[1 - axis];
    hit.times = enter;
    hit.normal = {n.x(), n.y(), 0};
    hit.surface = boxAt(block, axis * 2 + (side > 0), along, height - block.bottom_m);
}

Rgb SceneView::radiance(const Vector3d& direction) const {
    if (scene_->settings().light == Light::constant) return scene_->settings().constant;
    return trace({origin_, direction}, true);
}

double SceneView::distance_m(const Vector3d& direction) const {
    const Hit hit = nearest({origin_, direction}, true, thingsAlong(direction));
    return hit.times < 1e30 ? hit.times : std::numeric_limits<double>::infinity();
}

double SceneView::distanceOfLight_m(const Vector3d& direction) const {
    constexpr double kBright = 2.5;  // radii
    double nearest_m = distance_m(direction);
    for (const Thing& thing : thingsAlong(direction)) {
        if (thing.kind != Thing::Kind::lamp) continue;
        const Lamp& lamp = scene_->plan().lamps[size_t(thing.index)];
        const Vector3d to = lamp.centre - origin_;
        const double along = to.dot(direction);
        if (along > 0 && (to - along * direction).norm() < kBright * lamp.radius_m)
            nearest_m = std::min(nearest_m, along);
    }
    return nearest_m;
}

SceneView::Ray SceneView::mirrored(const Ray& ray) {
    const auto &o = ray.origin, &d = ray.direction;
    return {{o.x(), o.y(), 2 * kGround_m - o.z()}, {d.x(), d.y(), -d.z()}};
}

bool SceneView::meetsMover(const Vector3d& direction) const {
    const Ray ray{origin_, direction};
    const auto meets = [&](const Ray& along) {
        Hit hit;
        for (const Thing& thing : thingsAlong(direction)) {
            const size_t i = size_t(thing.index);
            if (thing.kind == Thing::Kind::post && i >= still_posts_)
                hitPost(posts_[i], along, hit);
            if (thing.kind == Thing::Kind::block && i >= still_blocks_)
                hitBlock(blocks_[i], along, hit);
        }
        return hit.times < 1e30;
    };
    return meets(ray) || (direction.z() < 0 && meets(mirrored(ray)));
}

const std::vector<SceneView::Thing>& SceneView::thingsAlong(const Vector3d& direction) const {
    const int bin = int(diamondAngle(direction.x(), direction.y()) * kBinsPerSide) % kBins;
    return bins_[size_t(bin)];
}

Rgb SceneView::trace(const Ray& ray, bool ground) const {
    const std::vector<Thing>& things = thingsAlong(ray.direction);
    const Hit hit = nearest(ray, ground, things);
    const Rgb light =
        hit.times < 1e30 ? lightFrom(hit, ray) : scene_->sky().radiance(ray.direction);
    return withLamps(light, ray, hit.times, things);
}

SceneView::Hit SceneView::nearest(const Ray& ray, bool ground,
                                  const std::vector<Thing>& things) const {
    const SquarePlan& plan = scene_->plan();
    Hit hit;
    const bool walls = hitRing(plan.near_ring, true, ray, hit);
    if (!walls && ray.direction.z() > -0.01) hitRing(plan.far_ring, false, ray, hit);
    for (const Thing& thing : things) {
        if (thing.kind == Thing::Kind::post) hitPost(posts_[size_t(thing.index)], ray, hit);
        if (thing.kind == Thing::Kind::block) hitBlock(blocks_[size_t(thing.index)], ray, hit);
    }
    if (!ground || ray.direction.z() >= 0) return hit;
    const double times = (kGround_m - ray.origin.z()) / ray.direction.z();
    if (times >= hit.times) return hit;
    const Vector3d at = ray.origin + times * ray.direction;
    return {times, groundAt(plan, at.x(), at.y()), {0, 0, 1}};
}

Rgb SceneView::lightFrom(const Hit& hit, const Ray& ray) const {
    const Vector3d& d = ray.direction;
    const Surface& surface = hit.surface;
    Rgb light = surface.emitted;
    if (scene_->settings().light == Light::day) {
        light *= 0.15f;  // lamps indoors are lost in daylight
        if (surface.sky > 0) {
            const Vector3d back = d - 2.0 * d.dot(hit.normal) * hit.normal;
            light += surface.sky * scene_->sky().radiance(back).min(1.5f);
        }
    }
    light += surface.albedo * scene_->lightAt(ray.origin + hit.times * d, hit.normal, lights_);
    if (surface.mirror <= 0) return light;

    // Puddles: Schlick's approximation of Fresnel for water. The mirror image of the square is the
    // square seen from below the ground, so the same bins serve.
    const float grazing = 1.0f + float(d.z());
    const float g2 = grazing * grazing;
    const float share = surface.mirror * (0.02f + 0.98f * g2 * g2 * grazing);
    return light * (1 - share) + trace(mirrored(ray), false) * share;
}

// Lamps in front of what was met: a disc with a soft rim, and a faint glow of mist round it.
Rgb SceneView::withLamps(Rgb light, const Ray& ray, double times,
                         const std::vector<Thing>& things) const {
    const bool lit = scene_->settings().light == Light::night;
    for (const Thing& thing : things) {
        if (thing.kind != Thing::Kind::lamp) continue;
        const Lamp& lamp = scene_->plan().lamps[size_t(thing.index)];
        const Rgb& radiance = lamp_radiance_[size_t(thing.index)];
        const Vector3d to = lamp.centre - ray.origin;
        const double along = to.dot(ray.direction);
        if (along <= 0 || along - lamp.radius_m >= times) continue;
        const float off2 =
            float((to - along * ray.direction).squaredNorm() / (lamp.radius_m * lamp.radius_m));
        constexpr float kGlow2 = kGlow * kGlow;
        if (off2 >= kGlow2) continue;
        if (lit) {
            const float rest = 1.0f - off2 / kGlow2;
            light += radiance * (0.0009f * rest * rest / (0.5f + off2));
        }
        const float disc = 1.0f - ramp(0.75f, 1.0f, std::sqrt(off2));
        light = light * (1 - disc) + (lit ? radiance : Rgb(0.8f, 0.8f, 0.75f)) * disc;
    }
    return light;
}

}  // namespace plateloom::world
