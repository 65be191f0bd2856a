#include "calib/field_shading.h"

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

using namespace plateloom::calib;

namespace {

constexpr double kWidth_mm = 36, kHeight_mm = 20.25, kFocal_mm = 28;
const double kReach_mm = 0.5 * std::hypot(kWidth_mm, kHeight_mm);

Shading shadingOf(double loss) {
    const double r2 = kReach_mm * kReach_mm;
    return {0.62 * loss / r2, 0.45 * loss / (r2 * r2), -0.07 * loss / (r2 * r2 * r2)};
}

struct Screen {
    Vector2d tilt{0.12, -0.08};
    double xx = 0, xy = 0, yy = 0;
};

// A picture's cells as a camera that faces the screen in some way records them.
FieldPicture pictureOf(const Shading& shading, const Screen& screen, const PanTiltRoll& facing,
                       double level, double noise, uint32_t seed) {
    std::mt19937 dice(seed);
    std::normal_distribution<double> normal(0, noise);
    FieldPicture out;
    for (int j = 0; j < 27; ++j)
        for (int i = 0; i < 48; ++i) {
            FieldCell cell;
            cell.mm = cell.flat_mm = {kWidth_mm * ((i + 0.5) / 48 - 0.5),
                                      kHeight_mm * ((j + 0.5) / 27 - 0.5)};
            const Vector3d ray =
                worldFromCamera(facing) * Vector3d(cell.flat_mm.x(), kFocal_mm, -cell.flat_mm.y());
            const Vector2d u = Vector2d(ray.x(), -ray.z()) * (kFocal_mm / ray.y() / kReach_mm);
            const double lamp = 1 + screen.tilt.dot(u) + screen.xx * u.x() * u.x() +
                                2 * screen.xy * u.x() * u.y() + screen.yy * u.y() * u.y();
            cell.light =
                level * lamp * shading.transmission(cell.mm.squaredNorm()) * (1 + normal(dice));
            out.cells.push_back(cell);
        }
    return out;
}

double worstError(const Shading& found, const Shading& truth) {
    double worst = 0;
    for (double r = 0; r <= kReach_mm; r += 0.25)
        worst =
            std::max(worst, std::abs(found.transmission(r * r) / truth.transmission(r * r) - 1));
    return worst;
}

}  // namespace

TEST_CASE("without noise the shading comes back exactly, whatever the lamp's tilt and saddle",
          "[field_shading]") {
    Screen screen;
    screen.xx = 0.03;
    screen.yy = -0.03;
    screen.xy = 0.02;
    const Shading truth = shadingOf(0.4);
    const ShadingFit fit =
        fitShading({pictureOf(truth, screen, {}, 0.4, 0, 1)}, 1, kFocal_mm, kReach_mm);
    CHECK(worstError(fit.shading[0], truth) < 1e-6);
    CHECK(fit.terms == 3);
    CHECK_FALSE(fit.bow_separated);
    CHECK(fit.pictures[0].level == Approx(0.4).epsilon(1e-6));
    CHECK(fit.pictures[0].lamp.tilt.x() == Approx(0.12).epsilon(1e-4));
    CHECK(fit.pictures[0].lamp.saddle_x == Approx(0.03).epsilon(1e-4));
}

TEST_CASE("a noisy field of a tilted lamp gives the shading within 0.3 %, dust and all",
          "[field_shading]") {
    const Shading truth = shadingOf(0.45);
    FieldPicture picture = pictureOf(truth, {}, {}, 0.4, 0.002, 2);
    for (size_t i = 7; i < picture.cells.size(); i += 23) picture.cells[i].light *= 0.93;
    for (size_t i = 3; i < picture.cells.size(); i += 211) picture.cells[i].light = 0;
    const ShadingFit fit = fitShading({picture}, 1, kFocal_mm, kReach_mm);
    CHECK(worstError(fit.shading[0], truth) < 0.003);
    CHECK(fit.corner_sigma[0] < 0.002);
    CHECK(fit.pictures[0].rms == Approx(0.002).epsilon(0.15));
    for (size_t i = 7; i < picture.cells.size(); i += 23) CHECK(fit.pictures[0].used[i] == 0);
    const auto used = std::count(fit.pictures[0].used.begin(), fit.pictures[0].used.end(), 1);
    CHECK(used > long(0.9 * double(picture.cells.size())));
}

TEST_CASE(
    "a lamp's bow goes into the shading of pictures that face one way, and is told from it "
    "by pictures that face several",
    "[field_shading]") {
    Screen screen;
    screen.xx = -0.06;
    screen.yy = 0.02;
    screen.xy = 0.01;
    const Shading truth = shadingOf(0.4);
    const std::vector<PanTiltRoll> ways{{170, 0, 0}, {179, 0, 0}, {161, 4, 0}, {170, 0, 90}};
    std::vector<FieldPicture> pictures;
    for (size_t k = 0; k < ways.size(); ++k) {
        // The screen stands square before pan 170.
        PanTiltRoll facing = ways[k];
        facing.pan_deg -= 170;
        pictures.push_back(pictureOf(truth, screen, facing, 0.3, 0.0004, uint32_t(k)));
    }
    const ShadingFit blind = fitShading(pictures, 1, kFocal_mm, kReach_mm);
    CHECK_FALSE(blind.bow_separated);
    CHECK(worstError(blind.shading[0], truth) > 0.01);

    for (size_t k = 0; k < ways.size(); ++k) pictures[k].facing = ways[k];
    const ShadingFit fit = fitShading(pictures, 1, kFocal_mm, kReach_mm);
    CHECK(fit.bow_separated);
    CHECK(worstError(fit.shading[0], truth) < 0.003);
    CHECK(fit.pictures[0].lamp.bow == Approx(-0.02).margin(0.002));
    // Turning about the axis alone moves nothing that tells.
    pictures.erase(pictures.begin() + 1, pictures.begin() + 3);
    CHECK_FALSE(fitShading(pictures, 1, kFocal_mm, kReach_mm).bow_separated);
}

TEST_CASE("a term is not taken that cells left out do not ask for", "[field_shading]") {
    const double r2 = kReach_mm * kReach_mm;
    int chosen[4] = {};
    for (uint32_t seed = 0; seed < 6; ++seed) {
        const Shading truth{0.3 / r2, 0, 0};
        const ShadingFit fit =
            fitShading({pictureOf(truth, {}, {}, 0.4, 0.002, 50 + seed)}, 1, kFocal_mm, kReach_mm);
        ++chosen[fit.terms];
        CHECK(worstError(fit.shading[0], truth) < 0.003);
    }
    CHECK(chosen[1] >= 5);
}

TEST_CASE("each setting has its own shading under a common lamp", "[field_shading]") {
    std::vector<FieldPicture> pictures;
    const double losses[] = {0.45, 0.3, 0.18};
    for (int s = 0; s < 3; ++s)
        for (int k = 0; k < 3; ++k) {
            const PanTiltRoll facing{8.0 * (k - 1), 3.0 * k, 0};
            pictures.push_back(pictureOf(shadingOf(losses[s]), {{0.1, 0.05}, -0.03, 0, -0.03},
                                         facing, 0.2 + 0.1 * s, 0.0005, uint32_t(10 * s + k)));
            pictures.back().setting = s;
            pictures.back().facing = facing;
        }
    const ShadingFit fit = fitShading(pictures, 3, kFocal_mm, kReach_mm);
    for (size_t s = 0; s < 3; ++s) CHECK(worstError(fit.shading[s], shadingOf(losses[s])) < 0.003);
}

TEST_CASE("the cosine-fourth law", "[field_shading]") {
    CHECK(cosineFourth(0, 28) == 1);
    CHECK(cosineFourth(28, 28) == Approx(0.25));  // 45 degrees
    CHECK(cosineFourth(28 * std::tan(30 * 3.14159265358979 / 180), 28) == Approx(0.5625));
}
