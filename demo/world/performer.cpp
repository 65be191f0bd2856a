#include "world/performer.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "calib/angle.h"
#include "world/noise.h"

namespace plateloom::world {

namespace {

using Cloth = Rod::Cloth;

// Built upright at the origin, then carried to its place: x to the camera's right, y away from it,
// z above the ground.
class Builder {
public:
    Builder(const PerformerPlace& place) : dice_(place.seed * 17u + 3u) {
        const double stride = std::sin(2 * std::numbers::pi * 1.4 * place.time_s);
        legs(stride);
        body();
        arms(stride);
        hoop(place.time_s);
        hair(place.time_s);
        const double pan = place.pan_deg * calib::kRadPerDeg;
        const Vector3d away(-std::sin(pan), std::cos(pan), 0);
        const Vector3d right(away.y(), -away.x(), 0);
        const Vector3d foot = place.distance_m * away + Vector3d(0, 0, kGround_m);
        for (Rod& rod : rods_)
            for (Vector3d* end : {&rod.from, &rod.to})
                *end = foot + end->x() * right + end->y() * away + Vector3d(0, 0, end->z());
    }
    [[nodiscard]] std::vector<Rod> rods() const { return rods_; }

private:
    void add(Cloth cloth, const Vector3d& from, const Vector3d& to, double radius_m) {
        rods_.push_back({cloth, from, to, radius_m});
    }

    void legs(double stride) {
        for (const int side : {-1, 1}) {
            const double forward = 0.22 * stride * side;
            const Vector3d hip(0.03 * side, 0.08 * side, 0.92),
                knee(0.55 * forward, 0.09 * side, 0.5),
                ankle(forward, 0.09 * side, 0.08 + 0.06 * std::max(0.0, -forward));
            add(Cloth::trousers, hip, knee, 0.085);
            add(Cloth::trousers, knee, ankle, 0.062);
            add(Cloth::boots, ankle, ankle + Vector3d(-0.17, 0, -0.03), 0.05);
        }
    }

    void body() {
        add(Cloth::coat, {0, 0, 0.86}, {0, 0, 1.32}, 0.16);
        add(Cloth::coat, {0, -0.13, 1.38}, {0, 0.13, 1.38}, 0.085);
        add(Cloth::coat, {0, 0, 0.62}, {0, 0, 0.9}, 0.185);
        add(Cloth::skin, {0, 0, 1.42}, {-0.01, 0, 1.52}, 0.055);
        add(Cloth::skin, {-0.02, 0, 1.60}, {-0.01, 0, 1.66}, 0.095);
    }

    void arms(double stride) {
        // One arm swings, the other holds the hoop up.
        const Vector3d shoulder(0.02, -0.2, 1.38), elbow(0.16 + 0.1 * stride, -0.26, 1.12),
            hand(0.05 + 0.24 * stride, -0.3, 0.92);
        add(Cloth::coat, shoulder, elbow, 0.055);
        add(Cloth::coat, elbow, hand, 0.045);
        add(Cloth::skin, hand, hand + Vector3d(-0.03, 0, -0.08), 0.038);
        const Vector3d other(-0.04, 0.2, 1.38), bent(-0.28, 0.16, 1.42);
        add(Cloth::coat, other, bent, 0.055);
        add(Cloth::coat, bent, grip_, 0.045);
        add(Cloth::skin, grip_, grip_ + Vector3d(-0.02, 0, 0.08), 0.036);
    }

    void hoop(double time_s) {
        constexpr int kParts = 48;
        constexpr double kRadius_m = 0.36;
        const Vector3d centre = grip_ + Vector3d(-0.03, 0, 0.06 + kRadius_m);
        const double turn =
            0.7 + 0.9 * time_s;  // about the vertical: an ellipse, narrower and wider
        const auto at = [&](int i) {
            const double a = 2 * std::numbers::pi * i / kParts;
            return Vector3d(centre + kRadius_m * Vector3d(std::cos(a) * std::cos(turn),
                                                          std::cos(a) * std::sin(turn),
                                                          std::sin(a)));
        };
        for (int i = 0; i < kParts; ++i) add(Cloth::hoop, at(i), at(i + 1), 0.008);
    }

    // Loose strands behind the head that the walk lifts.
    void hair(double time_s) {
        constexpr int kStrands = 36;
        for (int i = 0; i < kStrands; ++i) {
            const double round = dice_.between(-1.2f, 2.4f), length = dice_.between(0.16f, 0.34f);
            const double lift =
                dice_.between(-0.3f, 0.35f) + 0.1 * std::sin(7 * time_s + dice_.between(0, 6.28f));
            const Vector3d root(0.06 + 0.05 * std::cos(round), dice_.between(-0.07f, 0.07f),
                                1.64 + 0.09 * std::sin(round));
            const Vector3d bend = root + length * 0.5 * Vector3d(0.9, 0, 0.35 * lift + 0.1);
            const Vector3d tip = bend + length * 0.5 * Vector3d(0.85, 0, lift - 0.35);
            const double radius = dice_.between(0.0012f, 0.004f);
            add(Cloth::hair, root, bend, radius);
            add(Cloth::hair, bend, tip, 0.7 * radius);
        }
        add(Cloth::hair, {0.03, 0, 1.62}, {0.01, 0, 1.70}, 0.098);
    }

    Dice dice_;
    Vector3d grip_{-0.36, 0.1, 1.66};
    std::vector<Rod> rods_;
};

// How many times `ray` the first point on the rod lies away from the origin; infinity when the ray
// passes by. A quadratic equation for the tube and one for the ball at the nearer end.
double timesTo(const Rod& rod, const Vector3d& ray) {
    constexpr double kNever = 1e30;
    const Vector3d along = rod.to - rod.from;
    const double length2 = along.squaredNorm(), r2 = rod.radius_m * rod.radius_m;
    const auto ball = [&](const Vector3d& centre) {
        const double half = ray.dot(centre);
        const double under = half * half - centre.squaredNorm() + r2;
        return under < 0 ? kNever : half - std::sqrt(under);
    };
    const double ray_along = ray.dot(along), from_along = rod.from.dot(along);
    const double a = length2 - ray_along * ray_along;
    const double b = -length2 * ray.dot(rod.from) + ray_along * from_along;
    const double c = length2 * (rod.from.squaredNorm() - r2) - from_along * from_along;
    const double under = b * b - a * c;
    if (a <= 1e-12 * length2 || under < 0) return std::min(ball(rod.from), ball(rod.to));
    const double times = (-b - std::sqrt(under)) / a;
    const double place = times * ray_along - from_along;
    if (place > 0 && place < length2) return times;
    return ball(place <= 0 ? rod.from : rod.to);
}

Vector3d nearestOnAxis(const Rod& rod, const Vector3d& point) {
    const Vector3d along = rod.to - rod.from;
    return rod.from +
           std::clamp((point - rod.from).dot(along) / along.squaredNorm(), 0.0, 1.0) * along;
}

Rgb albedoAt(const Rod& rod, const Vector3d& point, uint32_t seed) {
    const Vector3d axis = (rod.to - rod.from).normalized();
    const Vector3d off = point - rod.from;
    const float u = float(off.dot(axis)), v = float((off - off.dot(axis) * axis).x() + off.z());
    const float weave = octaves(60 * u, 60 * v, 4, 0.7f, seed + uint32_t(rod.cloth));
    switch (rod.cloth) {
        case Cloth::skin:
            return Rgb(0.46f, 0.31f, 0.24f) * (1 + 0.12f * weave);
        case Cloth::coat:
            return (std::fmod(std::abs(u) * 9, 1.0f) < 0.3f ? Rgb(0.58f, 0.42f, 0.14f)
                                                            : Rgb(0.06f, 0.16f, 0.24f)) *
                   (1 + 0.35f * weave);
        case Cloth::trousers:
            return Rgb(0.09f, 0.11f, 0.17f) * (1 + 0.4f * weave);
        case Cloth::boots:
            return Rgb(0.05f, 0.035f, 0.03f) * (1 + 0.3f * weave);
        case Cloth::hair:
            return {0.10f, 0.055f, 0.03f};
        case Cloth::hoop:
            return {0.75f, 0.62f, 0.2f};
    }
    return {0.5f, 0.5f, 0.5f};
}

}  // namespace

Performer::Performer(const PerformerPlace& place)
    : rods_(Builder(place).rods()), seed_(place.seed) {
    const auto angle = [](const Vector3d& a, const Vector3d& b) {
        return std::acos(std::min(1.0, a.normalized().dot(b.normalized())));
    };
    const auto count = Eigen::Index(rods_.size());
    for (Eigen::ArrayXf* each : {&cones_.x, &cones_.y, &cones_.z, &cones_.cosine})
        each->resize(count);
    std::vector<double> reach(rods_.size(), 0);
    Vector3d sum = Vector3d::Zero();
    for (size_t i = 0; i < rods_.size(); ++i) {
        const Rod& rod = rods_[i];
        const Vector3d middle = ((rod.from + rod.to) / 2).normalized();
        for (const Vector3d& end : {rod.from, rod.to})
            reach[i] = std::max(
                reach[i], angle(end, middle) + std::asin(std::min(1.0, rod.radius_m / end.norm())));
        const auto at = Eigen::Index(i);
        cones_.x[at] = float(middle.x());
        cones_.y[at] = float(middle.y());
        cones_.z[at] = float(middle.z());
        // A little wider, for what float rounds off.
        cones_.cosine[at] = float(std::cos(reach[i])) - 2e-6f;
        sum += middle;
    }
    middle_ = sum.normalized();
    for (size_t i = 0; i < rods_.size(); ++i)
        cosine_ = std::min(
            cosine_,
            std::cos(std::min(calib::kPi, angle(rods_[i].from + rods_[i].to, middle_) + reach[i])));
    const Vector3d away = Vector3d(middle_.x(), middle_.y(), 0).normalized();
    const Vector3d right(away.y(), -away.x(), 0);
    key_ = (-0.6 * away - 0.65 * right + Vector3d(0, 0, 0.6)).normalized();
}

double Performer::gapAt(const Vector3d& place) const {
    double gap = 1e30;
    for (const Rod& rod : rods_)
        gap = std::min(gap, (place - nearestOnAxis(rod, place)).norm() - rod.radius_m);
    return gap;
}

std::vector<Vector3d> Performer::hull() const {
    std::vector<Vector3d> corners;
    for (const Rod& rod : rods_)
        for (const Vector3d& end : {rod.from, rod.to})
            for (int i = 0; i < 8; ++i)
                corners.push_back(
                    end + rod.radius_m * Vector3d(i & 1 ? 1 : -1, i & 2 ? 1 : -1, i & 4 ? 1 : -1));
    return corners;
}

std::optional<Rgb> Performer::radiance(const Vector3d& direction) const {
    if (direction.dot(middle_) < cosine_) return std::nullopt;
    const Eigen::Array<bool, Eigen::Dynamic, 1, 0, 256, 1> inside =
        (cones_.x * float(direction.x()) + cones_.y * float(direction.y()) +
         cones_.z * float(direction.z())) >= cones_.cosine;
    double nearest = 1e29;
    const Rod* met = nullptr;
    for (Eigen::Index i = 0; i < cones_.x.size(); ++i) {
        if (!inside[i]) continue;
        const Rod& rod = rods_[size_t(i)];
        const double times = timesTo(rod, direction);
        if (times < nearest) nearest = times, met = &rod;
    }
    if (!met) return std::nullopt;
    return lightFrom(*met, nearest * direction);
}

// A large warm key from the camera's left, a cool fill from everywhere.
Rgb Performer::lightFrom(const Rod& rod, const Vector3d& point) const {
    const Vector3d normal = (point - nearestOnAxis(rod, point)).normalized();
    const float facing = float(std::max(0.0, normal.dot(key_)));
    return albedoAt(rod, point, seed_) *
           (Rgb(0.9f, 0.78f, 0.6f) * facing + Rgb(0.16f, 0.18f, 0.22f));
}

}  // namespace plateloom::world
