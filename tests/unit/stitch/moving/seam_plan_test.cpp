#include "stitch/moving/seam_plan.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>

using namespace plateloom::stitch;

namespace {

constexpr int kAcross = 256, kDown = 128;

// Three plates side by side, 80 cells wide, each sharing 30 with the next; the middle one lies
// across the panorama's edge.
Overview plates() {
    Overview overview;
    overview.grid.width = kAcross;
    overview.grid.height = kDown;
    for (const int x0 : {166, 216, 10}) {
        SmallPlate small{x0, 30, 80, 60, {}, {}, {}, {}};
        const size_t count = 80 * 60;
        small.light.assign(3 * count, 0.0f);
        small.share.assign(count, 1.0f);
        small.inward.assign(count, 0.5f);
        for (int y = 0; y < 60; ++y)
            for (int x = 0; x < 80; ++x) {
                const float off = std::abs(2 * (x + 0.5f) / 80 - 1);
                small.cost.push_back(0.004f * off * off * off * off);
            }
        overview.plates.push_back(small);
    }
    return overview;
}

// Something as wide as a person, two stops darker, at column `x` of the panorama; the plates see it
// some cells apart since it is nearer than what they were brought together for.
void paint(Overview& overview, double x, int y0, int y1) {
    for (size_t i = 0; i < overview.plates.size(); ++i) {
        auto& small = overview.plates[i];
        const double seen = x + 2.0 * double(i);
        for (int dy = 0; dy < small.height; ++dy)
            for (int dx = 0; dx < small.width; ++dx) {
                double off = small.x0 + dx - seen;
                off -= kAcross * std::round(off / kAcross);
                if (std::abs(off) > 2.5 || small.y0 + dy < y0 || small.y0 + dy >= y1) continue;
                for (size_t c = 0; c < 3; ++c) small.light[3 * small.at(dx, dy) + c] = -2;
            }
    }
}

DifferenceTables tablesOf(const Overview& overview, std::vector<char> absent = {0, 0, 0}) {
    DifferenceTables tables(overview);
    tables.fill(overview, absent);
    return tables;
}

// A plan of a take in which that something goes along `x`.
template <class Where>
SeamPlan planOf(int frames, Where where, std::vector<char> absent = {0, 0, 0}) {
    SeamPlanner planner(plates(), tablesOf(plates()), {"left", "middle", "right"});
    for (int i = 0; i < frames; ++i) {
        Overview now = plates();
        if (const auto x = where(i)) paint(now, *x, 50, 75);
        planner.add(1001 + i, tablesOf(now, absent));
    }
    return planner.finish();
}

// Cells beside a seam that something covers, in a frame.
int crossed(const LabelMap& map, double x) {
    Overview now = plates();
    paint(now, x, 50, 75);
    const auto tables = tablesOf(now);
    int count = 0;
    for (int j = 0; j < kDown; ++j)
        for (int i = 0; i < kAcross; ++i) {
            const uint16_t a = map.at(i, j), b = map.wrapped(i + 1, j);
            if (a == b || a == kNoPlate || b == kNoPlate) continue;
            count += tables.at(a, b, i, j) > 0.3f;
        }
    return count;
}

}  // namespace

TEST_CASE("Where nothing moves seams stay, to the cell") {
    const auto plan = planOf(60, [](int) { return std::optional<double>(); });
    REQUIRE(plan.parts.size() == 1);
    CHECK(plan.parts[0].frame == 1001);
    CHECK_FALSE(plan.at(1030).passes());
}

TEST_CASE("A seam makes way for what crosses it, over a few frames, beforehand, and goes back") {
    const auto at = [](int i) { return std::optional<double>(170.0 + 1.5 * i); };
    const int frames = 90;
    const auto plan = planOf(frames, at);
    REQUIRE(plan.parts.size() >= 2);
    int bare = 0, planned = 0;
    for (int i = 0; i < frames; ++i) {
        const auto blend = plan.at(1001 + i);
        bare += crossed(plan.parts[0].map, *at(i));
        planned += crossed(blend.map, *at(i));
        if (blend.passes()) planned += crossed(blend.next, *at(i));
    }
    INFO("crossed cells: " << bare << " if seams stayed, " << planned << " as planned");
    CHECK(bare > 100);
    CHECK(planned < 0.12 * bare);
    // The other seam, which it has not come to, stays where it was all the while.
    const auto &first = plan.parts[0].map, &moved = plan.parts[1].map;
    int other = 0;
    for (int j = 0; j < kDown; ++j)
        for (int i = 0; i < 60; ++i) other += first.at(i, j) != moved.at(i, j);
    CHECK(other == 0);
    // Passages are kSeamPassage frames long and don't run into each other.
    for (size_t p = 1; p < plan.parts.size(); ++p)
        CHECK(plan.parts[p].frame - plan.parts[p - 1].frame > kSeamPassage);
    CHECK(plan.parts.back().map.label == first.label);
}

TEST_CASE("A camera that is black crosses nothing") {
    const auto plan = planOf(
        40, [](int i) { return i > 10 && i < 20 ? std::optional<double>(226.0) : std::nullopt; },
        {0, 1, 0});
    CHECK(plan.parts.size() == 1);
}

TEST_CASE("What flickers in cells that the frame's edge cuts crosses nothing") {
    const auto parts = [](float share_of_top_row) {
        const auto frame = [&](bool flickers) {
            Overview now = plates();
            for (auto& small : now.plates)
                for (int dx = 0; dx < small.width; ++dx) {
                    small.share[small.at(dx, 0)] = share_of_top_row;
                    if (!flickers || small.x0 != 216 || dx < 11 || dx > 19) continue;
                    for (size_t c = 0; c < 3; ++c) small.light[3 * small.at(dx, 0) + c] = -2;
                }
            return now;
        };
        SeamPlanner planner(frame(false), tablesOf(frame(false)), {"left", "middle", "right"});
        for (int i = 0; i < 40; ++i) planner.add(1001 + i, tablesOf(frame(i > 15 && i < 25)));
        return planner.finish().parts.size();
    };
    CHECK(parts(0.7f) == 1);
    CHECK(parts(1.0f) > 1);
}

TEST_CASE("Seams pass evenly from one map to the next") {
    SeamPlan plan;
    LabelMap a{4, 2, std::vector<uint16_t>(8, 0)}, b{4, 2, std::vector<uint16_t>(8, 1)};
    plan.parts = {{100, a, ""}, {120, b, "why"}};
    CHECK_FALSE(plan.at(115).passes());
    float before = 0;
    for (int64_t frame = 116; frame < 120; ++frame) {
        const auto blend = plan.at(frame);
        CHECK(blend.share > before);
        CHECK(blend.of(0, 3) + blend.of(1, 3) == Approx(1));
        before = blend.share;
    }
    CHECK(before < 1);
    CHECK_FALSE(plan.at(120).passes());
    CHECK(plan.at(120).map.label == b.label);
    CHECK(plan.onGrid(8, 4).parts[1].map.label == std::vector<uint16_t>(32, 1));
}

TEST_CASE(
    "Plates that are turned from frame to frame are held against one room, and cross nothing") {
    // The middle plate, 4 cells to the right and 2 lower, or as much the other way, and larger.
    const auto turned = [](int by) {
        Overview now = plates();
        auto& small = now.plates[1];
        small.x0 += 4 * by;
        small.y0 += 2 * by;
        small.width += 2;
        const size_t count = size_t(small.width) * small.height;
        small.light.assign(3 * count, 0.0f);
        small.share.assign(count, 1.0f);
        small.inward.assign(count, 0.5f);
        small.cost.assign(count, 0.001f);
        return now;
    };
    const DifferenceTables room(plates());
    DifferenceTables right = room, left = room;
    right.fill(turned(1), {0, 0, 0});
    left.fill(turned(-1), {0, 0, 0});
    // Plate 1 began at column 216, row 30, and shares 30 columns with plate 0.
    CHECK(right.at(0, 1, 217, 50) < 0);
    CHECK(right.at(0, 1, 225, 31) < 0);
    CHECK(right.at(0, 1, 225, 50) == 0);
    CHECK(left.at(0, 1, 217, 50) == 0);
    CHECK(left.at(0, 1, 214, 50) < 0);  // outside of the room
    DifferenceTables most = right;
    most.takeMost(left);
    CHECK(most.at(0, 1, 217, 50) == 0);

    Overview shared = plates();
    keepShared(shared, turned(1), {0, 0, 0});
    keepShared(shared, turned(-1), {0, 0, 1});
    const auto& small = shared.plates[1];
    CHECK(small.share[small.at(3, 30)] == 0);
    CHECK(small.share[small.at(4, 30)] == 1);
    CHECK(small.share[small.at(77, 30)] == 1);
    CHECK(small.share[small.at(78, 30)] == 0);
    CHECK(shared.plates[2].share == plates().plates[2].share);
    Overview hidden = plates();
    keepShared(hidden, turned(1), {0, 1, 0});
    CHECK(hidden.plates[1].share == plates().plates[1].share);

    SeamPlanner planner(plates(), right, {"left", "middle", "right"});
    for (int i = 0; i < 60; ++i) {
        DifferenceTables now = room;
        now.fill(turned(i % 3 - 1), {0, 0, 0});
        planner.add(1001 + i, now);
    }
    CHECK(planner.finish().parts.size() == 1);
}
