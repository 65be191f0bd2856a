#include "stitch/plan/plan.h"

#include <catch2/catch.hpp>
#include <random>

#include "calib/angle.h"
#include "stitch/plan/plan_proof.h"
#include "stitch/survey/cover.h"

using namespace plateloom;
using namespace plateloom::stitch;
using calib::Matrix3d;
using calib::Vector3d;

namespace {

PlanWish wishOf(double focal_mm, double overlap, double tilt_from, double tilt_to) {
    PlanWish wish;
    calib::Lens lens;
    lens.focal_mm = focal_mm;
    wish.lens = calib::LensMap(lens, {36, 20.25, 4096, 2304});
    wish.overlap = overlap;
    wish.tilt_from_deg = tilt_from, wish.tilt_to_deg = tilt_to;
    return wish;
}

bool seen(const PlanWish& wish, const std::vector<PlannedShot>& shots, double pan, double tilt) {
    const Vector3d world = calib::worldFromCamera({pan, tilt, 0}) * Vector3d(0, 1, 0);
    for (const PlannedShot& shot : shots) {
        const auto px =
            wish.lens.recordedFromRay(calib::worldFromCamera(shot.pose).transpose() * world);
        if (px && wish.lens.inPicture(*px)) return true;
    }
    return false;
}

int unseen(const PlanWish& wish, const std::vector<PlannedShot>& shots, int places,
           std::mt19937& random) {
    std::uniform_real_distribution<double> pan(wish.pan_from_deg, wish.pan_to_deg);
    std::uniform_real_distribution<double> tilt(wish.nadir ? -90 : wish.tilt_from_deg,
                                                wish.zenith ? 90 : wish.tilt_to_deg);
    int count = 0;
    for (int i = 0; i < places; ++i) count += !seen(wish, shots, pan(random), tilt(random));
    return count;
}

PlanWish randomWish(std::mt19937& random) {
    const auto between = [&](double low, double high) {
        return std::uniform_real_distribution<double>(low, high)(random);
    };
    calib::Lens lens;
    const double width_mm = between(10, 54), height_mm = width_mm * between(0.4, 1.1);
    lens.focal_mm = width_mm * between(0.4, 2.2);
    const double corner2 = 0.25 * (width_mm * width_mm + height_mm * height_mm);
    lens.distortion.radial[0] = between(-0.06, 0.12) / corner2;
    lens.distortion.tangential = {between(-1e-3, 1e-3) / width_mm, between(-1e-3, 1e-3) / width_mm};
    lens.projection_offset_mm = {between(-0.01, 0.01) * width_mm, between(-0.01, 0.01) * width_mm};
    PlanWish wish;
    wish.lens = calib::LensMap(
        lens, {width_mm, height_mm, 4096, std::max(16, int(4096 * height_mm / width_mm))});
    wish.overlap = between(0.05, 0.5);
    if (random() % 2) {
        wish.pan_from_deg = between(-180, 180);
        wish.pan_to_deg = wish.pan_from_deg + between(5, 350);
    }
    wish.tilt_from_deg = between(-90, 60);
    wish.tilt_to_deg = between(wish.tilt_from_deg + 5, 90);
    wish.zenith = random() % 4 == 0, wish.nadir = random() % 4 == 0;
    return wish;
}

void checkRandomWishes(int count, uint32_t seed) {
    std::mt19937 random(seed), places(seed + 1);
    int made = 0;
    for (int i = 0; i < count; ++i) {
        const PlanWish wish = randomWish(random);
        CAPTURE(i, wish.overlap, wish.pan_from_deg, wish.pan_to_deg, wish.tilt_from_deg,
                wish.tilt_to_deg, wish.zenith, wish.nadir, wish.lens.lens().focal_mm,
                wish.lens.sensor().width_mm, wish.lens.sensor().height_mm);
        REQUIRE_FALSE(faultOf(wish));
        const Plan plan = planShots(wish);
        CAPTURE(plan.why_not);
        if (plan.shots.empty()) {
            UNSCOPED_INFO(plan.why_not);
            FAIL_CHECK("no plan");
            continue;
        }
        ++made;
        CHECK(plan.proof.covered);
        CHECK(unseen(wish, plan.shots, 3000, places) == 0);
        std::vector<SphereFrame> frames;
        for (const PlannedShot& shot : plan.shots)
            frames.emplace_back(wish.lens, calib::worldFromCamera(shot.pose));
        // As check counts it, to that count's own precision.
        for (const ShotPair& pair : plan.proof.pairs)
            CHECK(overlapOf(frames[size_t(pair.a)], frames[size_t(pair.b)]) > wish.overlap - 0.006);
    }
    CHECK(made == count);
}

}  // namespace

TEST_CASE("Random sensors, lenses, overlaps and covers: nothing uncovered, every pair overlaps",
          "[plan]") {
    checkRandomWishes(12, 5);
}

TEST_CASE("The same for 200 of them", "[.][plan-long]") {
    checkRandomWishes(200, 77);
}

TEST_CASE("The common wish: three rows of eight, the middle one level", "[plan]") {
    const Plan plan = planShots(wishOf(28, 0.3, -40, 40));
    CHECK(plan.rows == 3);
    REQUIRE(plan.shots.size() == 24);
    CHECK(plan.shots[8].pose.tilt_deg == 0);
    CHECK(plan.shots[0].pose.tilt_deg == -plan.shots[16].pose.tilt_deg);
    for (size_t i = 1; i < 8; ++i) {  // turning to the right
        const double step = plan.shots[i - 1].pose.pan_deg - plan.shots[i].pose.pan_deg;
        CHECK(step - 360 * std::floor(step / 360) == Approx(45));
    }
}

TEST_CASE("Toward the poles a row needs fewer pans", "[plan]") {
    PlanWish wish = wishOf(28, 0.3, -10, 40);
    wish.zenith = true;
    const Plan plan = planShots(wish);
    std::vector<int> count(size_t(plan.rows), 0);
    for (const PlannedShot& shot : plan.shots) ++count[size_t(shot.row)];
    REQUIRE(plan.rows >= 3);
    CHECK(count.back() <= 4);
    for (int r = 1; r < plan.rows; ++r)
        if (plan.shots[0].pose.tilt_deg >= 0) CHECK(count[size_t(r)] <= count[size_t(r - 1)]);
    CHECK(count.front() >= 8);
    CHECK(seen(wish, plan.shots, 0, 90));
}

TEST_CASE("A barrel lens sees more and needs no more plates; a pincushion no fewer", "[plan]") {
    const auto plates = [](double k1) {
        PlanWish wish = wishOf(26, 0.3, -40, 40);
        calib::Lens lens = wish.lens.lens();
        lens.distortion.radial[0] = k1;
        wish.lens = calib::LensMap(lens, wish.lens.sensor());
        return planShots(wish).shots.size();
    };
    CHECK(plates(4e-4) < plates(0));
    CHECK(plates(-2.5e-4) > plates(0));
}

TEST_CASE("Cover that goes through 180 degrees is the same plan, turned", "[plan]") {
    PlanWish ahead = wishOf(28, 0.3, -30, 30), behind = ahead;
    ahead.pan_from_deg = -50, ahead.pan_to_deg = 50;
    behind.pan_from_deg = 130, behind.pan_to_deg = 230;
    const Plan a = planShots(ahead), b = planShots(behind);
    REQUIRE(a.shots.size() == b.shots.size());
    for (size_t i = 0; i < a.shots.size(); ++i) {
        const double off = b.shots[i].pose.pan_deg - a.shots[i].pose.pan_deg;
        CHECK(off - 360 * std::floor(off / 360) == Approx(180));
        CHECK(b.shots[i].pose.pan_deg <= 180);
    }
}

TEST_CASE("What one plate sees takes one plate", "[plan]") {
    PlanWish wish = wishOf(28, 0.3, -10, 10);
    wish.pan_from_deg = -20, wish.pan_to_deg = 20;
    const Plan plan = planShots(wish);
    CHECK(plan.shots.size() == 1);
    CHECK(plan.proof.pairs.empty());
}

TEST_CASE("A wish that can't be met is said to be so, and why", "[plan]") {
    const Plan same = planShots(wishOf(28, 1.0, -40, 40));
    CHECK(same.shots.empty());
    CHECK(same.why_not.find("100 %") != std::string::npos);
    const Plan many = planShots(wishOf(800, 0.6, -89, 89));
    CHECK(many.shots.empty());
    CHECK(many.why_not.find("plates") != std::string::npos);
}

TEST_CASE("Wishes that make no sense are faults", "[plan]") {
    CHECK_FALSE(faultOf(wishOf(28, 0.3, -40, 40)));
    CHECK(faultOf(wishOf(28, -0.1, -40, 40)));
    CHECK(faultOf(wishOf(28, 0.3, 40, -40)));
    CHECK(faultOf(wishOf(28, 0.3, -100, 40)));
    PlanWish wide = wishOf(28, 0.3, -40, 40);
    wide.pan_to_deg = 200;
    CHECK(faultOf(wide));
}

TEST_CASE("The proof names a direction that is open, however small the hole", "[plan]") {
    const PlanWish wish = wishOf(28, 0.0, -10, 10);
    std::vector<PlannedShot> shots;
    const double across = calib::angleOfView_deg(36, 28);
    // Plates edge to edge, but for a slit of a twentieth of a degree between two of them.
    double pan = 170;
    for (int i = 0; i < 7; ++i, pan -= across * 0.9) {
        if (i == 3) pan -= across * 0.1 + 0.05;
        shots.push_back({0, {pan, 0, 0}});
    }
    const PlanProof proof = proveShots(wish, shots);
    CHECK_FALSE(proof.covered);
    REQUIRE(proof.open);
    CHECK_FALSE(seen(wish, shots, proof.open->pan_deg, proof.open->tilt_deg));
    // Closed, the same row holds.
    for (size_t i = 3; i < shots.size(); ++i) shots[i].pose.pan_deg += 0.15;
    CHECK(proveShots(wish, shots).covered);
}

TEST_CASE("The proof's overlaps are those that geometry gives", "[plan]") {
    // Two level plates: of one's picture the other sees what lies beyond its own left edge, a
    // straight line only along the horizon; so a thin frame, where the rest does not matter.
    PlanWish wish = wishOf(28, 0.3, -0.1, 0.1);
    wish.lens = calib::LensMap(wish.lens.lens(), {36, 0.36, 4096, 41});
    for (const double step : {10.0, 30.0, 50.0}) {
        const PlanProof proof = proveShots(wish, {{0, {0, 0, 0}}, {0, {-step, 0, 0}}});
        const double half = calib::angleOfView_deg(36, 28) / 2;
        const double edge_mm = 28 * std::tan((step - half) * calib::kRadPerDeg);
        REQUIRE(proof.pairs.size() == 1);
        // Above and below, a frame this thin bends out of the other's by less than its height.
        CHECK(proof.pairs[0].overlap <= (18 - edge_mm) / 36 + 1e-3);
        CHECK(proof.pairs[0].overlap > 0.8 * (18 - edge_mm) / 36);
    }
}
