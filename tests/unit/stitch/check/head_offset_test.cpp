#include "stitch/check/head_offset.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <random>
#include <stdexcept>

#include "calib/pose.h"
#include "stitch/ties/refine_ties.h"
#include "tests/painted_panorama.h"
#include "tests/painted_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;
using painted::kSensor;

namespace {

// A head whose entrance pupil stands before its axis, in the middle of a room. Lengths in metres.
struct Head {
    double offset_m = 0;
    std::vector<PlacedPlate> placed;
    std::vector<calib::Vector3d> pupil_m;

    explicit Head(double offset) : offset_m(offset) {
        for (int i = 0; i < 10; ++i) {
            PlacedPlate plate;
            plate.plate = i;
            plate.lens = calib::LensMap(painted::bendingLens(), kSensor);
            plate.worldFromCamera = calib::worldFromCamera({36.0 * i, 3.0 * (i % 2), 0.2 * i});
            placed.push_back(plate);
            pupil_m.push_back(offset_m * plate.worldFromCamera.col(1));
        }
    }
    [[nodiscard]] std::optional<calib::Vector2d> recorded(size_t plate,
                                                          const calib::Vector3d& thing_m) const {
        const PlacedPlate& p = placed[plate];
        return p.lens.recordedFromRay(p.worldFromCamera.transpose() * (thing_m - pupil_m[plate]));
    }

    // Things of which one in three stands at `near_m`, the others up to 40 times as far away.
    [[nodiscard]] std::vector<Tie> ties(double near_m, double noise_px) const {
        std::mt19937 random(5);
        std::uniform_real_distribution<double> unit(0, 1);
        std::normal_distribution<double> noise(0, noise_px);
        std::vector<Tie> out;
        for (size_t a = 0; a < placed.size(); ++a) {
            const size_t b = (a + 1) % placed.size();
            const calib::LensMap& lens = placed[a].lens;
            for (int i = 0; i < 240; ++i) {
                const calib::Vector2d px(kSensor.width_px * unit(random),
                                         kSensor.height_px * unit(random));
                const auto ray = lens.rayFromRecorded(px);
                if (!ray) continue;
                const double away_m = i % 3 ? near_m * (2 + 38 * unit(random)) : near_m;
                const calib::Vector3d thing =
                    pupil_m[a] + away_m * (placed[a].worldFromCamera * *ray).normalized();
                const auto other = recorded(b, thing);
                if (!other || !lens.inPicture(*other)) continue;
                out.push_back({int(a), int(b), px,
                               *other + calib::Vector2d(noise(random), noise(random)), 0.05});
            }
        }
        return out;
    }

    // The room as a plate records it, painted with waves: half a sphere of `near_m` about the axis
    // below the camera, half a sphere of 50 m above.
    [[nodiscard]] io::PlatePixels picture(size_t plate, double near_m) const {
        static const painted::WaveWorld waves(0.05);
        const auto light = [&](const calib::Vector3d& looks) {
            const calib::Vector3d ray = looks.normalized();
            const double wall_m = ray.z() < 0 ? near_m : 50;
            const double along = pupil_m[plate].dot(ray);
            const double away =
                -along + std::sqrt(along * along + wall_m * wall_m - offset_m * offset_m);
            const calib::Vector3d wall = (pupil_m[plate] + away * ray).normalized();
            return std::exp(waves.light(wall, 0) + waves.light(wall, 1) + waves.light(wall, 2));
        };
        return painted::paint(placed[plate], light, 1, false);
    }
};

std::optional<HeadOffset> found(const Head& head, const std::vector<Tie>& ties,
                                PlateStore& pixels) {
    std::vector<Plate> plates(head.placed.size());
    for (auto& plate : plates) {
        plate.lens = painted::bendingLens();
        plate.sensor = kSensor;
    }
    LightStore lights(plates, pixels, size_t(64) << 20);
    return findHeadOffset(head.placed, ties, lights);
}
// Displacements below a pixel are measured from the solve's own ties: no plate is read again.
std::optional<HeadOffset> found(const Head& head, const std::vector<Tie>& ties) {
    PlateStore pixels([](int) -> io::PlatePixels { throw std::logic_error("a plate was read"); });
    return found(head, ties, pixels);
}

}  // namespace

TEST_CASE("A pupil before or behind the axis is found from things nearby, with its sign",
          "[head_offset]") {
    // The nearest of noisy ties are those that the noise brings nearer: 0.02 px are 0.4 mm here.
    constexpr double kNear_m = 3;
    for (const double offset_m : {0.012, -0.012, 0.006}) {
        const Head head(offset_m);
        const auto offset = found(head, head.ties(kNear_m, 0.02));
        REQUIRE(offset);
        INFO("offset " << offset_m << " m, parallax " << offset->parallax_px << " px");
        CHECK(offset->stands_out);
        CHECK(offset->offset_by_distance * kNear_m == Approx(offset_m).margin(0.001));
        CHECK(offset->of_pair_px.size() == head.placed.size());
        for (const auto& [pair, px] : offset->of_pair_px)
            CHECK(px == Approx(offset->parallax_px).epsilon(0.25));
    }
}

TEST_CASE("A head that turns about the pupil has no offset, whatever its ties' noise",
          "[head_offset]") {
    const Head head(0);
    for (const double noise_px : {0.0, 0.05, 0.2}) {
        const auto offset = found(head, head.ties(3, noise_px));
        REQUIRE(offset);
        INFO("noise " << noise_px << " px, parallax " << offset->parallax_px << " px");
        CHECK_FALSE(offset->stands_out);
        CHECK(offset->parallax_px < 0.01 + 3 * noise_px);
    }
}

TEST_CASE("Displacements beyond a solve's own search are registered again, from the plates",
          "[head_offset]") {
    constexpr double kWall_m = 2, kOffset_m = 0.045;
    const Head head(kOffset_m);
    // The wall is displaced by 3 pixels: a solve finds only the ties of what is farther away.
    std::vector<Tie> ties;
    for (const Tie& tie : head.ties(kWall_m, 0.02)) {
        const PlacedPlate &a = head.placed[size_t(tie.a)], &b = head.placed[size_t(tie.b)];
        const auto px = b.lens.recordedFromRay(b.worldFromCamera.transpose() * a.worldFromCamera *
                                               *a.lens.rayFromRecorded(tie.px_a));
        if ((tie.px_b - *px).norm() < RefineSettings().search_px) ties.push_back(tie);
    }
    PlateStore pixels([&](int plate) { return head.picture(size_t(plate), kWall_m); });
    const auto offset = found(head, ties, pixels);
    REQUIRE(offset);
    CHECK(offset->stands_out);
    CHECK(offset->parallax_px > 2.5);
    // 98 of 100 ties are displaced less: the noise of registration adds a tenth.
    CHECK(offset->offset_by_distance * kWall_m == Approx(kOffset_m).epsilon(0.2));
}

TEST_CASE("Too few ties tell nothing of the head", "[head_offset]") {
    const Head head(0.012);
    auto ties = head.ties(3, 0.02);
    ties.resize(59);
    CHECK_FALSE(found(head, ties));
    // Ties of plates that have no place count for nothing.
    auto others = head.ties(3, 0.02);
    for (Tie& tie : others) tie.a = 99;
    CHECK_FALSE(found(head, others));
}
