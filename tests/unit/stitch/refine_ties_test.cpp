#include "stitch/refine_ties.h"

#include <Eigen/Geometry>
#include <Eigen/LU>
#include <catch2/catch.hpp>
#include <cmath>

#include "wave_texture.h"

using namespace plateloom::stitch;
using Eigen::Matrix2d;

namespace {

struct Errors {
    Vector2d mean = Vector2d::Zero();
    double rms = 0, claimed = 0, worst = 0;  // rms along each axis; claimed: rms of sigma_px
    int count = 0;
};

// b = centre + map (a - centre) + shift
struct Motion {
    Matrix2d map = Matrix2d::Identity();
    Vector2d shift = Vector2d::Zero(), centre = Vector2d(160, 120);
    [[nodiscard]] Vector2d bFromA(const Vector2d& a) const {
        return centre + map * (a - centre) + shift;
    }
    [[nodiscard]] Vector2d aFromB(const Vector2d& b) const {
        return centre + map.inverse() * (b - centre - shift);
    }
};

Errors errorsOf(const std::vector<Tie>& ties, const Motion& motion) {
    Errors e;
    double square = 0, claimed = 0;
    for (const Tie& tie : ties) {
        const Vector2d off = tie.px_b - motion.bFromA(tie.px_a);
        e.mean += off;
        square += off.squaredNorm();
        claimed += tie.sigma_px * tie.sigma_px;
        e.worst = std::max(e.worst, off.norm());
    }
    e.count = int(ties.size());
    e.mean /= std::max(1, e.count);
    e.rms = std::sqrt(0.5 * square / std::max(1, e.count));
    e.claimed = std::sqrt(claimed / std::max(1, e.count));
    return e;
}

Errors refineWith(const Motion& motion, double noise, double wrong_px, double search_px,
                  unsigned seed, double gain = 1.0, double shading = 0.0) {
    const WaveTexture texture(seed, 4.0, 60.0);
    const auto a = pictureOf(
        320, 240, [&](double x, double y) { return texture.at(x, y); }, noise, seed);
    const auto b = pictureOf(
        320, 240,
        [&](double x, double y) {
            const Vector2d p = motion.aFromB({x, y});
            return gain * texture.at(p.x(), p.y()) + 0.7 + shading * (x - 160) / 160;
        },
        noise, seed + 1);
    const Vector2d wrong = wrong_px * Vector2d(std::cos(double(seed)), std::sin(double(seed)));
    const TransferAToB transfer = [&](const Vector2d& px) -> std::optional<Vector2d> {
        return Vector2d(motion.bFromA(px) + wrong);
    };
    RefineSettings settings;
    settings.search_px = search_px;
    const auto ties = refineTies(3, 5, a, b, transfer, settings);
    for (const Tie& tie : ties) {
        CHECK(tie.a == 3);
        CHECK(tie.b == 5);
    }
    return errorsOf(ties, motion);
}

Motion turned(double degrees, double scale, const Vector2d& shift) {
    Motion motion;
    motion.map = scale * Eigen::Rotation2Dd(degrees * 3.14159265358979 / 180).toRotationMatrix();
    motion.shift = shift;
    return motion;
}

// The tie points' promise: a mean that shows no pull toward whole or half pixels, and a spread that
// mild noise explains.
constexpr double kMean_px = 0.005, kRms_px = 0.03;

}  // namespace

TEST_CASE("Ties have no bias toward whole or half pixels, whatever the shift") {
    Vector2d sum = Vector2d::Zero();
    unsigned seed = 1;
    for (const double dx : {0.0, 0.25, 0.5, 0.75}) {
        for (const double dy : {0.1, 0.35, 0.6}) {
            const Errors e = refineWith(turned(0, 1, {dx, dy}), 0.0, 0.7, 2.0, ++seed);
            CAPTURE(dx, dy, e.mean.transpose(), e.rms, e.count);
            REQUIRE(e.count > 100);
            CHECK(e.mean.norm() < kMean_px);
            CHECK(e.rms < 0.01);
            sum += e.mean;
        }
    }
    CHECK((sum / 12).norm() < 0.001);
}

TEST_CASE("Ties hold under mild noise, turn, scale, gain and shading, and say how good they are") {
    struct Case {
        double degrees, scale, gain, shading;
    };
    unsigned seed = 40;
    for (const Case& c : {Case{0, 1, 1, 0}, Case{7, 1, 1, 0}, Case{-20, 1.15, 1, 0},
                          Case{3, 0.85, 1, 0}, Case{2, 1, 0.6, 0}, Case{2, 1, 1.4, 0.12}}) {
        const Errors e = refineWith(turned(c.degrees, c.scale, {0.37, -0.81}), 0.01, 1.0, 2.0,
                                    ++seed, c.gain, c.shading);
        CAPTURE(c.degrees, c.scale, c.gain, c.shading, e.mean.transpose(), e.rms, e.claimed,
                e.count, e.worst);
        WARN("deg " << c.degrees << " scale " << c.scale << " gain " << c.gain << " shade "
                    << c.shading << ": mean " << e.mean.transpose() << " rms " << e.rms
                    << " claimed " << e.claimed << " worst " << e.worst << " n " << e.count);
        REQUIRE(e.count > 80);
        CHECK(e.mean.norm() < kMean_px);
        CHECK(e.rms < kRms_px);
        CHECK(e.claimed > 0.5 * e.rms);
        CHECK(e.claimed < 2.5 * e.rms);
    }
}

TEST_CASE("A prediction many pixels off is found from coarse to fine") {
    const Errors e = refineWith(turned(1, 1, {4.2, -3.7}), 0.005, 9.0, 12.0, 77);
    CAPTURE(e.mean.transpose(), e.rms, e.count);
    CHECK(e.count > 80);
    CHECK(e.mean.norm() < kMean_px);
    CHECK(e.rms < kRms_px);
}

TEST_CASE("Noise alone gives no ties") {
    const auto flat = [](double, double) { return 0.0; };
    const auto a = pictureOf(320, 240, flat, 0.01, 5), b = pictureOf(320, 240, flat, 0.01, 6);
    const TransferAToB same = [](const Vector2d& px) -> std::optional<Vector2d> { return px; };
    CHECK(refineTies(0, 1, a, b, same, {}).empty());
}

TEST_CASE("Given ties keep their place on plate a and are improved on plate b") {
    const Motion motion = turned(4, 1.05, {0.3, 0.6});
    const WaveTexture texture(9, 4.0, 60.0);
    const auto a = pictureOf(320, 240, [&](double x, double y) { return texture.at(x, y); });
    const auto b = pictureOf(320, 240, [&](double x, double y) {
        const Vector2d p = motion.aFromB({x, y});
        return texture.at(p.x(), p.y());
    });
    std::vector<Tie> given;
    for (int i = 0; i < 40; ++i) {
        const Vector2d px(60.25 + 5 * i, 60.75 + 3 * i);
        given.push_back({0, 1, px, motion.bFromA(px) + Vector2d(0.9, -0.6), 1.0});
    }
    const TransferAToB transfer = [&](const Vector2d& px) -> std::optional<Vector2d> {
        return Vector2d(motion.bFromA(px) + Vector2d(1.5, 1.5));
    };
    const auto ties = refineGivenTies(given, a, b, transfer, {});
    const Errors e = errorsOf(ties, motion);
    CAPTURE(e.rms, e.count);
    CHECK(e.count > 30);
    CHECK(e.rms < 0.01);
    for (const Tie& tie : ties) {
        CHECK(std::any_of(given.begin(), given.end(),
                          [&](const Tie& g) { return g.px_a == tie.px_a; }));
    }
}
