#include "stitch/solve/rotation_graph.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <catch2/catch.hpp>
#include <random>

#include "tests/unit/stitch/solve/turned_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

constexpr double kRadPerDeg = 3.14159265358979323846 / 180.0;
constexpr double kTolerance_deg = 1.0;
// Pair rotations come with 0.15 degrees of noise in these tests; placed is near enough below this.
constexpr double kPlaced_deg = 0.6;

Matrix3d jitter(double sigma_deg, std::mt19937& random) {
    std::normal_distribution<double> normal(0, sigma_deg * kRadPerDeg);
    const Vector3d w(normal(random), normal(random), normal(random));
    return Eigen::AngleAxisd(w.norm() + 1e-15, (w + Vector3d(1e-18, 0, 0)).normalized())
        .toRotationMatrix();
}

Matrix3d pan(double deg) {
    return Eigen::AngleAxisd(deg * kRadPerDeg, Vector3d::UnitZ()).toRotationMatrix();
}

PairRotation hypothesis(int a, int b, const Matrix3d& bFromA, int inliers, int in_overlap) {
    PairRotation pair;
    pair.a = a;
    pair.b = b;
    pair.bFromA = bFromA;
    pair.inliers = inliers;
    pair.in_overlap = in_overlap;
    return pair;
}

double axisAngle_deg(const Matrix3d& a, const Matrix3d& b) {
    return std::acos(std::clamp(a.col(1).dot(b.col(1)), -1.0, 1.0)) / kRadPerDeg;
}

struct Street {
    double window_deg = 4;      ///< the spacing of what repeats
    double neighbour_deg = 65;  ///< plates nearer than this share a pair
    double true_found = 0.9;    ///< share of pairs whose true rotation is among the hypotheses
    double wrong_share = 0.5;   ///< of all hypotheses
};

// Every pair of neighbours with its true rotation, most of the time, and with rotations that are
// off by one or two windows. Those explain fewer of the pair's matches, on the whole.
std::vector<PairRotation> hypothesesOf(const std::vector<Matrix3d>& truth, const Street& street,
                                       std::mt19937& random) {
    std::uniform_real_distribution<double> chance(0, 1), true_share(0.5, 0.8),
        wrong_share(0.25, 0.6);
    std::uniform_int_distribution<int> matches(30, 110), steps(1, 2);
    std::vector<PairRotation> out;
    for (int a = 0; a < int(truth.size()); ++a)
        for (int b = a + 1; b < int(truth.size()); ++b) {
            if (axisAngle_deg(truth[a], truth[b]) > street.neighbour_deg) continue;
            const int in_overlap = matches(random);
            const auto add = [&](const Matrix3d& worldFromB, double share) {
                out.push_back(hypothesis(a, b,
                                         jitter(0.15, random) * worldFromB.transpose() * truth[a],
                                         int(in_overlap * share), in_overlap));
            };
            if (chance(random) < street.true_found) add(truth[b], true_share(random));
            double rest = street.true_found * street.wrong_share / (1 - street.wrong_share);
            for (; rest > 0; rest -= 1) {
                if (chance(random) > rest) continue;
                const double off = (chance(random) < 0.5 ? -1 : 1) * steps(random);
                add(pan(off * street.window_deg) * truth[b], wrong_share(random));
            }
        }
    return out;
}

double largest(const std::vector<double>& values) {
    return values.empty() ? 0 : *std::max_element(values.begin(), values.end());
}

std::vector<std::optional<Matrix3d>> none(int plates) {
    return std::vector<std::optional<Matrix3d>>(plates);
}

}  // namespace

TEST_CASE("Every plate is placed although a third to six tenths of the pairs are off by windows") {
    const int seed = GENERATE(range(1, 6));
    const double wrong_share = GENERATE(0.3, 0.45, 0.6);
    const auto rows =
        GENERATE(std::vector<std::pair<double, int>>{{-35, 7}, {0, 8}, {35, 7}},
                 std::vector<std::pair<double, int>>{{-40, 9}, {0, 14}, {40, 9}},
                 std::vector<std::pair<double, int>>{{-55, 10}, {-20, 20}, {20, 20}, {55, 10}});
    CAPTURE(seed, wrong_share, rows.size());
    std::mt19937 random(seed);
    const auto truth = turnedRows(rows, seed);
    Street street;
    street.wrong_share = wrong_share;
    const auto pairs = hypothesesOf(truth, street, random);
    const auto graph =
        chooseRotations(int(truth.size()), pairs, none(int(truth.size())), 1, kTolerance_deg);
    const auto errors = errors_deg(graph.worldFromCamera, truth);
    CHECK(errors.size() == truth.size());
    CHECK(largest(errors) < kPlaced_deg);
    CHECK(graph.refused > 0);
}

TEST_CASE("A ring whose every pair also looks right one window on does not fold") {
    std::mt19937 random(3);
    const auto truth = turnedRows({{0, 8}}, 3);
    std::vector<PairRotation> pairs;
    for (int i = 0; i < 8; ++i) {
        const int a = std::min(i, (i + 1) % 8), b = std::max(i, (i + 1) % 8);
        const double turn = b - a == 1 ? 1 : -1;
        const Matrix3d bFromA = truth[b].transpose() * truth[a];
        pairs.push_back(hypothesis(a, b, jitter(0.1, random) * bFromA, 40, 60));
        // The wrong one has the better figures, everywhere.
        pairs.push_back(hypothesis(
            a, b, (pan(turn * 6) * truth[b]).transpose() * truth[a] * jitter(0.1, random), 46, 60));
    }
    const auto graph = chooseRotations(8, pairs, none(8), 1, kTolerance_deg);
    const auto errors = errors_deg(graph.worldFromCamera, truth);
    CHECK(errors.size() == 8);
    CHECK(largest(errors) < kPlaced_deg);
    CHECK(graph.kept.size() == 8);
}

TEST_CASE("Two sets of plates that nothing ties are two groups, the larger first") {
    std::mt19937 random(5);
    const auto truth = turnedRows({{0, 12}}, 5);
    Street street;
    street.neighbour_deg = 40;
    street.wrong_share = 0.3;
    street.true_found = 1;
    auto pairs = hypothesesOf(truth, street, random);
    const auto small = [](int p) { return p >= 3 && p < 7; };
    std::vector<PairRotation> cut;
    for (const auto& pair : pairs)
        if (small(pair.a) == small(pair.b)) cut.push_back(pair);
    const auto graph = chooseRotations(13, cut, none(13), 1, kTolerance_deg);
    for (int p = 0; p < 12; ++p) {
        CAPTURE(p);
        CHECK(graph.group[p] == (small(p) ? 1 : 0));
        CHECK(graph.worldFromCamera[p].has_value() == !small(p));
    }
    CHECK(graph.group[12] == -1);
    CHECK_FALSE(graph.worldFromCamera[12]);
}

TEST_CASE("Of two explanations that the pairs can't tell apart, the poses take theirs") {
    std::mt19937 random(7);
    const auto truth = turnedRows({{0, 4}}, 7);
    std::vector<PairRotation> pairs{
        hypothesis(0, 1, truth[1].transpose() * truth[0], 30, 40),
        hypothesis(0, 1, (pan(5) * truth[1]).transpose() * truth[0], 34, 40)};
    std::vector<std::optional<Matrix3d>> poses{jitter(0.5, random) * truth[0],
                                               jitter(0.5, random) * truth[1]};
    const auto with = chooseRotations(2, pairs, poses, 1, kTolerance_deg);
    CHECK(largest(errors_deg(with.worldFromCamera, {truth[0], truth[1]})) < 0.01);
    // The whole is turned to the poses as well.
    CHECK(calib::angleBetween_deg(*with.worldFromCamera[0], truth[0]) < 1.5);
    const auto without = chooseRotations(2, pairs, none(2), 1, kTolerance_deg);
    CHECK(largest(errors_deg(without.worldFromCamera, {truth[0], truth[1]})) > 2);
}

TEST_CASE(
    "Of two explanations that the pairs can't tell apart, what ought to match and does not "
    "decides") {
    const auto truth = turnedRows({{0, 12}}, 7);
    // Plate 2 hangs on plate 1 alone; its wrong place would be on top of plate 0, unmatched.
    std::vector<PairRotation> pairs{hypothesis(0, 1, truth[1].transpose() * truth[0], 30, 40),
                                    hypothesis(1, 2, truth[2].transpose() * truth[1], 30, 40),
                                    hypothesis(1, 2, truth[0].transpose() * truth[1], 36, 40)};
    const ExpectedMatches expected = [&](int, int, const Matrix3d& bFromA) {
        return axisAngle_deg(bFromA, Matrix3d::Identity()) < 10 ? 100.0 : 0.0;
    };
    const std::vector<Matrix3d> first(truth.begin(), truth.begin() + 3);
    const auto graph = chooseRotations(3, pairs, none(3), 1, kTolerance_deg, expected);
    CHECK(largest(errors_deg(graph.worldFromCamera, first)) < 0.01);
    const auto without = chooseRotations(3, pairs, none(3), 1, kTolerance_deg);
    CHECK(largest(errors_deg(without.worldFromCamera, first)) > 10);
}

TEST_CASE("A triangle of weak wrong pairs does not outvote a chain of strong ones") {
    const auto truth = turnedRows({{0, 9}}, 13);
    const std::vector<Matrix3d> first(truth.begin(), truth.begin() + 3);
    const Matrix3d wrong1 = pan(-6) * truth[1], wrong2 = pan(-40) * truth[2];
    const std::vector<PairRotation> pairs{
        hypothesis(0, 1, truth[1].transpose() * truth[0], 82, 163),
        hypothesis(0, 1, wrong1.transpose() * truth[0], 65, 163),
        hypothesis(1, 2, truth[2].transpose() * truth[1], 53, 99),
        hypothesis(1, 2, wrong2.transpose() * wrong1, 39, 99),
        hypothesis(0, 2, wrong2.transpose() * truth[0], 23, 42)};
    const auto graph = chooseRotations(3, pairs, none(3), 1, kTolerance_deg);
    CHECK(largest(errors_deg(graph.worldFromCamera, first)) < 0.01);
}

TEST_CASE("Small errors are shared out round the ring, not left at its last pair") {
    const auto truth = turnedRows({{0, 10}}, 9);
    std::vector<PairRotation> pairs;
    for (int i = 0; i < 10; ++i) {
        const int a = std::min(i, (i + 1) % 10), b = std::max(i, (i + 1) % 10);
        // Each step 0.2 degrees too wide: 2 degrees round the ring, twice the tolerance of a pair.
        const Matrix3d wide = pan(b - a == 1 ? 0.2 : -0.2);
        pairs.push_back(hypothesis(a, b, (wide * truth[b]).transpose() * truth[a], 40, 50));
    }
    const auto graph = chooseRotations(10, pairs, none(10), 1, 2.5);
    CHECK(graph.kept.size() == 10);
    for (const auto& pair : graph.kept)
        CHECK(calib::angleBetween_deg(
                  graph.worldFromCamera[pair.b]->transpose() * *graph.worldFromCamera[pair.a],
                  pair.bFromA) < 0.25);
}

TEST_CASE("The choice does not depend on the order in which the hypotheses come") {
    std::mt19937 random(11);
    const auto truth = turnedRows({{-30, 6}, {10, 8}}, 11);
    auto pairs = hypothesesOf(truth, {}, random);
    const auto first = chooseRotations(14, pairs, none(14), 1, kTolerance_deg);
    std::shuffle(pairs.begin(), pairs.end(), random);
    const auto second = chooseRotations(14, pairs, none(14), 1, kTolerance_deg);
    for (int p = 0; p < 14; ++p) CHECK(*first.worldFromCamera[p] == *second.worldFromCamera[p]);
}
