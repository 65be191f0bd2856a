#include "world/square_plan.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "world/noise.h"

namespace plateloom::world {

namespace {

constexpr double kTurn = 2.0 * std::numbers::pi;
constexpr double kFence_m = 8.5;

Rgb houseColour(Dice& dice) {
    static const Rgb colours[] = {{0.55f, 0.47f, 0.34f}, {0.48f, 0.36f, 0.28f},
                                  {0.42f, 0.44f, 0.45f}, {0.58f, 0.55f, 0.48f},
                                  {0.40f, 0.24f, 0.18f}, {0.38f, 0.42f, 0.34f}};
    return colours[dice.below(6)] * dice.between(0.85f, 1.1f);
}

std::vector<House> rowOfHouses(double length_m, double low_m, double high_m, Dice& dice) {
    std::vector<House> houses;
    double at = 0;
    while (at < length_m) {
        House house;
        house.from_m = at;
        house.to_m = at + std::round(dice.between(3.0f, 5.9f)) * 2.4;  // whole windows
        if (length_m - house.to_m < 6) house.to_m = length_m;
        house.floors = std::max(2, int((dice.between(float(low_m), float(high_m)) - 4.4) / 3.2));
        house.eaves_m = 4.4 + house.floors * 3.2 + dice.between(0.2f, 1.0f);
        house.gable_m = dice.below(3) == 0 ? dice.between(2.0f, 4.0f) : 0.0;
        house.chimney_at_m = house.from_m + (house.to_m - house.from_m) * dice.between(0.2f, 0.8f);
        house.finish = Finish(dice.below(3));
        house.albedo = houseColour(dice);
        house.posters = dice.below(3) == 0;
        house.shop = !house.posters && dice.below(2) == 0;
        house.seed = uint32_t(dice.between(0, 16e6f));
        houses.push_back(house);
        at = house.to_m;
    }
    return houses;
}

// A convex ring: corners on an ellipse that is moved off the tripod, at uneven angles.
std::vector<Wall> ring(int sides, double radius_m, double low_m, double high_m, Dice& dice) {
    const double turn = dice.between(0, 1);
    const Vector2d middle(dice.between(-0.12f, 0.12f) * radius_m,
                          dice.between(-0.12f, 0.12f) * radius_m);
    std::vector<Vector2d> corners;
    for (int i = 0; i < sides; ++i) {
        const double angle = kTurn * (i + turn + dice.between(-0.2f, 0.2f)) / sides;
        corners.push_back(middle + radius_m * Vector2d(1.15 * std::cos(angle), std::sin(angle)));
    }
    std::vector<Wall> walls;
    for (int i = 0; i < sides; ++i) {
        Wall wall;
        const Vector2d end = corners[size_t(i + 1) % corners.size()];
        wall.start = corners[size_t(i)];
        wall.length_m = (end - wall.start).norm();
        wall.along = (end - wall.start) / wall.length_m;
        wall.inward = {-wall.along.y(), wall.along.x()};
        wall.houses = rowOfHouses(wall.length_m, low_m, high_m, dice);
        walls.push_back(wall);
    }
    return walls;
}

void placeLamps(SquarePlan& plan, Dice& dice) {
    const Rgb warm{400, 318, 196}, cool{330, 380, 400};
    const int count = 9;
    for (int i = 0; i < count; ++i) {
        const double angle = kTurn * (i + dice.between(-0.25f, 0.25f)) / count;
        const Vector2d toward(std::cos(angle), std::sin(angle));
        const double wall_m = leaveRing(plan.near_ring, Vector2d::Zero(), toward).times;
        const Vector2d foot = toward * std::min<double>(dice.between(7.5f, 14.5f), wall_m - 1.5);
        const double height = dice.between(2.4f, 4.2f);
        Lamp lamp;
        lamp.centre = {foot.x(), foot.y(), height};
        lamp.radius_m = dice.between(0.07f, 0.14f);
        lamp.radiance = dice.below(4) == 0 ? cool : warm;
        plan.lamps.push_back(lamp);
        plan.posts.push_back(
            {foot, 0.055, kGround_m, height - lamp.radius_m, Rgb{0.09f, 0.1f, 0.1f}, false, 0});
        plan.posts.push_back(
            {foot, 0.13, kGround_m, kGround_m + 0.9, Rgb{0.09f, 0.1f, 0.1f}, false, 0});
    }
    // A string of small bulbs, sagging between two of the lamp posts.
    const Vector3d a = plan.lamps[1].centre + Vector3d(0, 0, 0.3);
    const Vector3d b = plan.lamps[3].centre + Vector3d(0, 0, 0.3);
    for (int i = 1; i < 24; ++i) {
        const double t = i / 24.0;
        Lamp bulb;
        bulb.centre = a + t * (b - a) - Vector3d(0, 0, 4.0 * 1.1 * t * (1 - t));
        bulb.radius_m = 0.022;
        bulb.radiance = warm;
        plan.lamps.push_back(bulb);
    }
}

void placeFurniture(SquarePlan& plan, Dice& dice) {
    // A fence of equal posts on one side, its two rails left out: posts alone repeat best.
    const double from = dice.between(0, float(kTurn));
    for (int i = 0; i < 40; ++i) {
        const double angle = from + i * 1.1 / kFence_m * 0.5;
        plan.posts.push_back({kFence_m * Vector2d(std::cos(angle), std::sin(angle)), 0.05,
                              kGround_m, kGround_m + 1.05, Rgb{0.3f, 0.3f, 0.28f}, false, 1});
    }
    const double column = from + 3.6;
    const Vector2d foot = 10.5 * Vector2d(std::cos(column), std::sin(column));
    plan.posts.push_back(
        {foot, 0.75, kGround_m, kGround_m + 1.0, Rgb{0.4f, 0.38f, 0.34f}, true, 5});
    plan.posts.push_back({foot, 0.38, kGround_m + 1.0, 5.5, Rgb{0.46f, 0.44f, 0.4f}, true, 6});

    const double kiosk = from + 4.6;
    Block block;
    block.centre = 9.5 * Vector2d(std::cos(kiosk), std::sin(kiosk));
    block.along = Vector2d(-std::sin(kiosk + 0.3), std::cos(kiosk + 0.3));
    block.half_length_m = 1.6;
    block.half_width_m = 1.1;
    block.top_m = kGround_m + 2.7;
    block.seed = 77;
    plan.blocks.push_back(block);
}

}  // namespace

RingHit leaveRing(const std::vector<Wall>& ring, const Vector2d& origin,
                  const Vector2d& direction) {
    RingHit hit{-1, 1e30};
    for (size_t i = 0; i < ring.size(); ++i) {
        const double toward = -ring[i].inward.dot(direction);
        if (toward <= 1e-12) continue;
        const double times = (origin - ring[i].start).dot(ring[i].inward) / toward;
        if (times < hit.times) hit = {int(i), times};
    }
    return hit;
}

namespace {

void makeAlike(std::vector<Wall>& ring, float texture) {
    for (Wall& wall : ring)
        for (House& house : wall.houses) {
            house.texture = texture;
            if (texture >= 0.5f) continue;
            house.finish = Finish::panels;
            house.albedo = {0.46f, 0.42f, 0.36f};
            house.lit_by_rule = true;
            house.posters = true;
            house.shop = false;
            house.gable_m = 0;
        }
}

}  // namespace

SquarePlan planSquare(uint32_t seed, float texture) {
    Dice dice(seed * 7919u + 13u);
    SquarePlan plan;
    plan.seed = seed;
    plan.texture = texture;
    plan.near_ring = ring(7, 19.0, 11.0, 17.5, dice);
    plan.far_ring = ring(9, 52.0, 26.0, 52.0, dice);
    plan.tram_line_m = dice.between(11.0f, 12.5f);
    makeAlike(plan.near_ring, texture);
    makeAlike(plan.far_ring, texture);
    placeLamps(plan, dice);
    placeFurniture(plan, dice);
    return plan;
}

namespace {

// Someone on foot, turned from short cylinders: legs, a coat that flares, a head.
void addWalker(Movers& movers, const Vector2d& at, const Rgb& coat) {
    constexpr int kSlices = 12;
    for (int i = 0; i < kSlices; ++i) {
        const double t = (i + 0.5) / kSlices;
        const double bottom = kGround_m + 0.62 + 0.88 * i / kSlices;
        const double shoulder = t > 0.9 ? 0.7 : 1.0;
        movers.posts.push_back({at, shoulder * (0.27 - 0.06 * t + 0.03 * std::sin(6 * t)), bottom,
                                bottom + 0.88 / kSlices, coat, true, 9});
    }
    for (const double side : {-0.09, 0.09})
        movers.posts.push_back({at + Vector2d(side, 0.6 * side), 0.075, kGround_m, kGround_m + 0.66,
                                Rgb{0.05f, 0.05f, 0.06f}, false, 9});
    for (int i = 0; i < 8; ++i) {
        const double z = -0.11 + 0.22 * (i + 0.5) / 8;
        movers.posts.push_back({at, 0.9 * std::sqrt(0.1225e-1 - z * z),
                                kGround_m + 1.64 + z - 0.014, kGround_m + 1.64 + z + 0.014,
                                i > 4 ? Rgb{0.07f, 0.05f, 0.04f} : Rgb{0.42f, 0.3f, 0.24f}, false,
                                9});
    }
}

}  // namespace

Movers moversAt(const SquarePlan& plan, double time_s, const std::optional<Runner>& runner) {
    // Back and forth at a steady pace; periods that share no common measure.
    const auto sway = [](double t, double period, double reach) {
        const double phase = t / period - std::floor(t / period);
        return reach * (4.0 * std::abs(phase - 0.5) - 1.0);
    };
    Movers movers;
    Block tram;
    tram.kind = Block::Kind::tram;
    tram.along = {1, 0};
    tram.half_length_m = 3.8;
    tram.half_width_m = 1.15;
    tram.bottom_m = kGround_m + 0.25;
    tram.top_m = kGround_m + 3.1;
    tram.centre = {sway(time_s + 11.0 * plan.seed, 97.3, 7.0), plan.tram_line_m};
    movers.blocks.push_back(tram);

    addWalker(movers, {-8.9, sway(time_s, 61.7, 6.0)}, {0.30f, 0.08f, 0.07f});
    addWalker(movers, {sway(time_s + 20, 83.1, 6.5), -9.2}, {0.08f, 0.12f, 0.25f});
    if (runner)
        addWalker(movers, runner->from_m + time_s * runner->speed_mps, {0.62f, 0.56f, 0.20f});
    return movers;
}

float levelAt(const Flicker& flicker, double time_s) {
    const float wander = valueNoise(float(time_s * flicker.hz), 0.5f, 977u);
    return 1.0f - flicker.depth * ramp(-0.15f, 0.45f, wander);
}

}  // namespace plateloom::world
