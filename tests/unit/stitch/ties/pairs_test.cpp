#include "stitch/ties/pairs.h"

#include <Eigen/Geometry>
#include <catch2/catch.hpp>
#include <cmath>
#include <random>
#include <set>

#include "calib/pose.h"
#include "tests/unit/stitch/ties/wave_texture.h"

using namespace plateloom::stitch;
namespace calib = plateloom::calib;

namespace {

constexpr int kWidth = 640, kHeight = 360;

calib::LensMap bentLens(double focal_mm = 30) {
    calib::Lens lens;
    lens.focal_mm = focal_mm;
    lens.distortion.radial = {-1.2e-4, 0, 0, 0, 0, 0};
    return {lens, calib::Sensor{36, 20.25, kWidth, kHeight}};
}

// Light for every direction: waves in space, looked at on the unit sphere.
class WaveWorld {
public:
    // `focal_mm`: fine enough for such a lens.
    explicit WaveWorld(unsigned seed, double focal_mm = 30) {
        std::mt19937 random(seed);
        std::normal_distribution<double> normal(0.0, 1.0);
        for (int i = 0; i < 60; ++i) {
            const double per_rad = focal_mm / 2 * std::pow(8.0, i / 59.0);
            Vector3d k(normal(random), normal(random), normal(random));
            waves_.push_back(
                {k.normalized() * per_rad, 6 * normal(random), 1 / std::sqrt(per_rad)});
        }
    }
    [[nodiscard]] double at(const Vector3d& ray) const {
        double sum = 0;
        for (const Wave& w : waves_) sum += w.size * std::sin(w.k.dot(ray) + w.phase);
        return sum;
    }

private:
    struct Wave {
        Vector3d k;
        double phase, size;
    };
    std::vector<Wave> waves_;
};

LightPicture plateOf(const WaveWorld& world, const calib::LensMap& lens,
                     const Matrix3d& worldFromCamera, unsigned seed) {
    return pictureOf(
        kWidth, kHeight,
        [&](double x, double y) {
            return world.at(worldFromCamera * *lens.rayFromRecorded({x, y}));
        },
        0.01, seed);
}

}  // namespace

TEST_CASE("The rotation between two overlapping plates is found through a bent lens") {
    const WaveWorld world(1);
    const calib::LensMap lens = bentLens();
    const Matrix3d a = calib::worldFromCamera({0, 0, 0}), b = calib::worldFromCamera({-22, 5, 3});
    const auto features_a = detectFeatures(plateOf(world, lens, a, 1), 800);
    const auto features_b = detectFeatures(plateOf(world, lens, b, 2), 800);
    const auto found = pairRotations({0, features_a, lens}, {1, features_b, lens}, 3.0);
    REQUIRE_FALSE(found.empty());
    CHECK(found[0].accepted());
    const Matrix3d truth = b.transpose() * a;
    // 0.05 degrees are 0.47 px here.
    CHECK(calib::angleBetween_deg(found[0].bFromA, truth) < 0.05);
    CHECK(int(found[0].ties.size()) == found[0].inliers);

    const auto ties =
        guidedMatches({0, features_a, lens}, {1, features_b, lens}, found[0].bFromA, 4.0);
    CHECK(ties.size() >= found[0].ties.size() / 2);
    for (const Tie& tie : ties) {
        const auto px = lens.recordedFromRay(truth * *lens.rayFromRecorded(tie.px_a));
        REQUIRE(px);
        CHECK((*px - tie.px_b).norm() < 4.5);
    }
}

TEST_CASE("A long lens's narrow overlap gives its rotation as a wide one's does") {
    // 1200 mm see 1.7 degrees; a third of that is shared.
    const WaveWorld world(1, 1200);
    const calib::LensMap lens = bentLens(1200);
    const Matrix3d a = calib::worldFromCamera({0, 0, 0}),
                   b = calib::worldFromCamera({-1.2, 0.1, 0.5});
    const auto features_a = detectFeatures(plateOf(world, lens, a, 1), 800);
    const auto features_b = detectFeatures(plateOf(world, lens, b, 2), 800);
    const auto found = pairRotations({0, features_a, lens}, {1, features_b, lens}, 3.0);
    REQUIRE_FALSE(found.empty());
    CHECK(calib::angleBetween_deg(found[0].bFromA, b.transpose() * a) < 0.2);
    const Vector3d shared = calib::worldFromCamera({-0.6, 0, 0}).col(1);
    const Vector3d in_b = found[0].bFromA * (a.transpose() * shared);
    CHECK((in_b - b.transpose() * shared).norm() * lens.focal_px() < 2);
}

namespace {

// Features of a wall of `columns` x `rows` windows, all alike, and `own` things that are nowhere
// else, seen by a camera that is turned; descriptors get a little noise.
struct Wall {
    std::vector<Vector3d> rays;
    cv::Mat descriptors;
};

cv::Mat randomRow(std::mt19937& random, int most) {
    std::uniform_int_distribution<int> code(0, most);
    cv::Mat row(1, 128, CV_16S);
    double square = 0;
    for (int k = 0; k < 128; ++k) {
        row.at<int16_t>(0, k) = int16_t(code(random));
        square += std::pow(row.at<int16_t>(0, k), 2);
    }
    for (int k = 0; k < 128; ++k) {
        row.at<int16_t>(0, k) =
            int16_t(std::lround(row.at<int16_t>(0, k) * 512 / std::sqrt(square)));
    }
    return row;
}

Wall windowWall(int own) {
    Wall wall;
    std::mt19937 random(11);
    std::uniform_real_distribution<double> unit(-1.0, 1.0);
    std::vector<cv::Mat> parts;  // a window's corners: the same for every window
    for (int i = 0; i < 6; ++i) parts.push_back(randomRow(random, 100));
    const auto add = [&](double x, double z, const cv::Mat& row) {
        wall.rays.push_back(Vector3d(x, 1, z).normalized());
        wall.descriptors.push_back(row);
    };
    for (int i = -8; i <= 8; ++i) {
        for (int j = -2; j <= 2; ++j) {
            for (int k = 0; k < 6; ++k)
                add(0.11 * i + 0.015 * (k % 3), 0.12 * j + 0.03 * (k / 3), parts[size_t(k)]);
        }
    }
    for (int i = 0; i < own; ++i) add(unit(random), 0.3 * unit(random), randomRow(random, 100));
    return wall;
}

PlateFeatures seenFrom(const Wall& wall, const calib::LensMap& lens,
                       const Matrix3d& worldFromCamera, unsigned seed) {
    std::mt19937 random(seed);
    std::normal_distribution<double> normal(0.0, 1.0);
    PlateFeatures out;
    for (int i = 0; i < int(wall.rays.size()); ++i) {
        const auto px = lens.recordedFromRay(worldFromCamera.transpose() * wall.rays[size_t(i)]);
        if (!px || !lens.inPicture(*px)) continue;
        out.recorded_px.push_back(*px + 0.3 * Vector2d(normal(random), normal(random)));
        out.size_px.push_back(4);
        out.response.push_back(1);
        out.angle_deg.push_back(0);
        cv::Mat row = wall.descriptors.row(i).clone();
        for (int k = 0; k < 128; ++k)
            row.at<int16_t>(0, k) =
                int16_t(row.at<int16_t>(0, k) + std::lround(2 * normal(random)));
        out.descriptors.push_back(row);
    }
    return out;
}

}  // namespace

// Nearest neighbours alone would be drawn by lot among the windows: the true rotation has to be
// among the hypotheses, whether a few things are unique or hardly any.
TEST_CASE("Among repeated windows the true rotation is one of the hypotheses") {
    const calib::LensMap lens = bentLens();
    const Matrix3d a = calib::worldFromCamera({0, 0, 0}), b = calib::worldFromCamera({-20, 1, 0.5});
    for (const int own : {40, 15}) {
        const Wall wall = windowWall(own);
        const auto seen_a = seenFrom(wall, lens, a, 1), seen_b = seenFrom(wall, lens, b, 2);
        const auto found = pairRotations({0, seen_a, lens}, {1, seen_b, lens}, 3.0);
        const bool there = std::any_of(found.begin(), found.end(), [&](const PairRotation& r) {
            return calib::angleBetween_deg(r.bFromA, b.transpose() * a) < 0.2;
        });
        CAPTURE(own, found.size());
        CHECK(there);
        for (size_t i = 0; i < found.size(); ++i) {
            CHECK(found[i].accepted());
            for (size_t j = 0; j < i; ++j)
                CHECK(calib::angleBetween_deg(found[i].bFromA, found[j].bFromA) > 0.3);
        }
    }
}

TEST_CASE("Plates that show different things give no rotation") {
    const calib::LensMap lens = bentLens();
    const auto a = detectFeatures(plateOf(WaveWorld(2), lens, Matrix3d::Identity(), 1), 800);
    const auto b = detectFeatures(plateOf(WaveWorld(3), lens, Matrix3d::Identity(), 2), 800);
    for (const double tolerance_px : {2.0, 9.0}) {
        CHECK(pairRotations({0, a, lens}, {1, b, lens}, tolerance_px).empty());
    }
}

namespace {

// Features without pictures: every plate's own random descriptors, and a stretch that the next
// plate shares.
std::vector<PlateFeatures> chainOfFeatures(int plates) {
    std::mt19937 random(5);
    std::uniform_int_distribution<int> code(0, 60);
    constexpr int kOwn = 60, kShared = 40;
    const auto row = [&](cv::Mat& to) {
        for (int k = 0; k < 128; ++k) to.at<int16_t>(0, k) = int16_t(code(random));
    };
    std::vector<cv::Mat> shared(static_cast<size_t>(plates));
    std::vector<PlateFeatures> out(static_cast<size_t>(plates));
    for (auto& block : shared) {
        for (int i = 0; i < kShared; ++i) {
            cv::Mat one(1, 128, CV_16S);
            row(one);
            block.push_back(one);
        }
    }
    for (int plate = 0; plate < plates; ++plate) {
        auto& features = out[size_t(plate)];
        features.descriptors.push_back(shared[size_t(plate)]);
        features.descriptors.push_back(shared[size_t((plate + 1) % plates)]);
        for (int i = 0; i < kOwn; ++i) {
            cv::Mat one(1, 128, CV_16S);
            row(one);
            features.descriptors.push_back(one);
        }
        for (int i = 0; i < features.descriptors.rows; ++i) {
            features.recorded_px.push_back({double(i), double(i)});
            features.size_px.push_back(4);
            features.response.push_back(1);
            features.angle_deg.push_back(0);
        }
    }
    return out;
}

Plate plateAt(std::optional<calib::PanTiltRoll> pose) {
    Plate plate;
    plate.sensor = {36, 20.25, kWidth, kHeight};
    plate.lens.focal_mm = 30;
    plate.pose = pose;
    return plate;
}

}  // namespace

TEST_CASE("Without poses, plates that share features are tried, and not all against all") {
    constexpr int kPlates = 40;
    const std::vector<Plate> plates(kPlates, plateAt({}));
    const auto pairs = candidatePairs(plates, chainOfFeatures(kPlates), 6);
    const std::set<std::pair<int, int>> tried(pairs.begin(), pairs.end());
    CHECK(pairs.size() <= kPlates * 6);
    for (int plate = 0; plate + 1 < kPlates; ++plate) CHECK(tried.count({plate, plate + 1}) == 1);
    CHECK(tried.count({0, kPlates - 1}) == 1);
    // The best come first: the true neighbours.
    for (int k = 0; k < kPlates; ++k) {
        const int apart = pairs[size_t(k)].second - pairs[size_t(k)].first;
        CHECK((apart == 1 || apart == kPlates - 1));
    }
}

TEST_CASE("With poses, the plates that look the same way are tried") {
    std::vector<Plate> plates;
    for (int i = 0; i < 18; ++i) plates.push_back(plateAt(calib::PanTiltRoll{i * 20.0, 0, 0}));
    const auto pairs = candidatePairs(plates, std::vector<PlateFeatures>(18), 4);
    const std::set<std::pair<int, int>> tried(pairs.begin(), pairs.end());
    for (int i = 0; i < 18; ++i) {
        const int next = (i + 1) % 18;
        CHECK(tried.count({std::min(i, next), std::max(i, next)}) == 1);
    }
    for (const auto& [a, b] : pairs) {
        const int apart = std::min(b - a, 18 - (b - a));
        CHECK(apart <= 4);
    }
}

TEST_CASE("A few plates are all tried against each other") {
    const std::vector<Plate> plates(5, plateAt({}));
    CHECK(candidatePairs(plates, chainOfFeatures(5), 2).size() == 10);
}
