#include "stitch/ties/refine_ties.h"

#include <Eigen/Geometry>
#include <Eigen/LU>
#include <catch2/catch.hpp>
#include <cmath>

#include "tests/unit/stitch/ties/wave_texture.h"

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
                  unsigned seed, double gain = 1.0, double veil = 0.0, double shading = 0.0) {
    const WaveTexture texture(seed, 4.0, 60.0);
    const auto a = pictureOf(
        320, 240, [&](double x, double y) { return texture.at(x, y); }, noise, seed);
    const auto b = pictureOf(
        320, 240,
        [&](double x, double y) {
            const Vector2d p = motion.aFromB({x, y});
            return std::log(gain * (std::exp(texture.at(p.x(), p.y())) + veil)) +
                   shading * (x - 160) / 160;
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
        double degrees, scale, gain, veil, shading;
    };
    unsigned seed = 40;
    for (const Case& c : {Case{0, 1, 1, 0, 0}, Case{7, 1, 1, 0, 0}, Case{-20, 1.15, 1, 0, 0},
                          Case{3, 0.85, 1, 0, 0}, Case{2, 1, 0.1, 0, 0}, Case{2, 1, 4, 0.4, 0},
                          Case{2, 1, 1, 0, 0.12}}) {
        const Errors e = refineWith(turned(c.degrees, c.scale, {0.37, -0.81}), 0.01, 1.0, 2.0,
                                    ++seed, c.gain, c.shading);
        CAPTURE(c.degrees, c.scale, c.gain, c.veil, c.shading, e.mean.transpose(), e.rms, e.claimed,
                e.count, e.worst);
        REQUIRE(e.count > 80);
        CHECK(e.mean.norm() < kMean_px);
        CHECK(e.rms < kRms_px);
        CHECK(e.claimed > 0.5 * e.rms);
        CHECK(e.claimed < 2.5 * e.rms);
    }
}

TEST_CASE("A prediction many pixels off is found from coarse to fine") {
    for (const double wrong_px : {5.0, 9.0, 20.0}) {
        const Errors e = refineWith(turned(1, 1, {4.2, -3.7}), 0.005, wrong_px, wrong_px * 1.3, 77);
        CAPTURE(wrong_px, e.mean.transpose(), e.rms, e.count);
        CHECK(e.count > 30);
        CHECK(e.mean.norm() < kMean_px);
        CHECK(e.rms < kRms_px);
        CHECK(e.worst < 1.0);
    }
}

// Within the patch's width a strong perspective bends the map by a tenth of a pixel, always to one
// side: an affine patch would carry it into every tie.
TEST_CASE("The bend of a strong perspective does not pull ties to one side") {
    const auto bFromA = [](const Vector2d& a) {
        const double w = 1 + 1.2e-3 * (a.x() - 160);
        return Vector2d(160 + (a.x() - 160) / w, 120 + (a.y() - 120) / w);
    };
    const auto aFromB = [](const Vector2d& b) {
        const double w = 1 - 1.2e-3 * (b.x() - 160);
        return Vector2d(160 + (b.x() - 160) / w, 120 + (b.y() - 120) / w);
    };
    REQUIRE((aFromB(bFromA({250, 60})) - Vector2d(250, 60)).norm() < 1e-9);
    Vector2d sum = Vector2d::Zero();
    int count = 0;
    for (const unsigned seed : {11u, 12u, 13u}) {
        const WaveTexture texture(seed, 5.0, 60.0);
        const auto a = pictureOf(320, 240, [&](double x, double y) { return texture.at(x, y); });
        const auto b = pictureOf(320, 240, [&](double x, double y) {
            const Vector2d p = aFromB({x, y});
            return texture.at(p.x(), p.y());
        });
        const TransferAToB transfer = [&](const Vector2d& px) -> std::optional<Vector2d> {
            return bFromA(px);
        };
        for (const Tie& tie : refineTies(0, 1, a, b, transfer, {})) {
            sum += tie.px_b - bFromA(tie.px_a);
            ++count;
        }
    }
    const Vector2d mean = sum / count;
    CAPTURE(mean.transpose(), count);
    CHECK(count > 250);
    CHECK(mean.norm() < kMean_px);
}

// A fence: bars 14 px apart and nothing else. Whatever is taken must be within the search, and a
// search wider than the bars' distance must not take one bar for another.
TEST_CASE("Repeated bars give no ties that are a bar off") {
    const auto fence = [](double x, double y) {
        return std::sin(2 * 3.14159265 * x / 14) + std::sin(2 * 3.14159265 * y / 17);
    };
    const auto a = pictureOf(320, 240, fence, 0.01, 1), b = pictureOf(320, 240, fence, 0.01, 2);
    const TransferAToB off = [&](const Vector2d& px) -> std::optional<Vector2d> {
        return Vector2d(px + Vector2d(8, 3));
    };
    RefineSettings settings;
    settings.search_px = 12;
    for (const Tie& tie : refineTies(0, 1, a, b, off, settings)) {
        CHECK((tie.px_b - tie.px_a).norm() < 1.0);
    }
}

// Edges of high contrast, twice as blurred on one plate: in log light they would move to their dark
// side. (Edges that meet without adding up to a corner: a blurred corner does recede.)
TEST_CASE("A blurred edge of high contrast stays where it is") {
    const auto edges = [](double sigma) {
        return [sigma](double x, double y) {
            const auto step = [&](double d) {
                return 0.5 * (1 + std::erf(d / (sigma * std::sqrt(2.0))));
            };
            double light = 0;
            for (int i = 0; i < 8; ++i) light += (i % 2 ? -1 : 1) * step(x - 20.3 - 37.4 * i);
            for (int j = 0; j < 6; ++j) light += (j % 2 ? -1 : 1) * step(y - 23.7 - 33.8 * j);
            return std::log(1 + 30 * light);
        };
    };
    const auto a = pictureOf(320, 240, edges(0.8), 0.002, 1);
    const auto b = pictureOf(320, 240, edges(1.3), 0.002, 2);
    const TransferAToB same = [](const Vector2d& px) -> std::optional<Vector2d> { return px; };
    const auto ties = refineTies(0, 1, a, b, same, {});
    REQUIRE(ties.size() > 30);
    const Errors e = errorsOf(ties, Motion{});
    CAPTURE(e.rms, e.worst, e.count);
    CHECK(e.rms < 0.06);
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

TEST_CASE("No tie's patch touches a missing or clipped pixel of either plate") {
    const WaveTexture texture(21, 4.0, 60.0);
    const auto value = [&](double x, double y) { return texture.at(x, y); };
    auto a = pictureOf(320, 240, value), b = pictureOf(320, 240, value);
    a.valid.at<uint8_t>(100, 80) = 0;
    b.valid.at<uint8_t>(150, 240) = 0;
    const TransferAToB same = [](const Vector2d& px) -> std::optional<Vector2d> { return px; };
    std::vector<Tie> given;
    for (int i = 0; i < 100; ++i) {
        const Vector2d px(30.5 + 26 * (i % 10), 30.5 + 18 * (i / 10));
        given.push_back({0, 1, px, px, 1.0});
    }
    auto ties = refineTies(0, 1, a, b, same, {});
    const auto refined = refineGivenTies(given, a, b, same, {});
    REQUIRE(ties.size() > 80);
    REQUIRE(refined.size() > 60);
    ties.insert(ties.end(), refined.begin(), refined.end());
    for (const Tie& tie : ties) {
        CHECK((tie.px_a - Vector2d(80.5, 100.5)).cwiseAbs().maxCoeff() > 10);
        CHECK((tie.px_b - Vector2d(240.5, 150.5)).cwiseAbs().maxCoeff() > 10);
    }
}
