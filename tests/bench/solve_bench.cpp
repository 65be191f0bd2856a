// How long the solve's own mathematics takes for few and for hundreds of plates: choosing among
// hypotheses, and the bundle adjustment. Features and registration are not in it.
#include <Eigen/Geometry>
#include <chrono>
#include <cstdio>
#include <random>

#include "stitch/solve/bundle.h"
#include "stitch/solve/rotation_graph.h"
#include "tests/unit/stitch/solve/turned_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

constexpr double kRadPerDeg = 3.14159265358979323846 / 180.0;

template <class Work>
double seconds(const Work& work) {
    const auto start = std::chrono::steady_clock::now();
    work();
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

Matrix3d pan(double deg) {
    return Eigen::AngleAxisd(deg * kRadPerDeg, Vector3d::UnitZ()).toRotationMatrix();
}

// Each pair that overlaps, truly and, every other time, one window of 3 degrees on.
std::vector<PairRotation> hypothesesOf(const TurnedPlates& set, const std::vector<Tie>& ties,
                                       std::mt19937& random) {
    std::vector<PairRotation> out;
    for (const auto& tie : ties) {
        if (!out.empty() && out.back().a == tie.a && out.back().b == tie.b) continue;
        const int n = 20 + int(random() % 60);
        const auto add = [&](const Matrix3d& worldFromB, int inliers) {
            PairRotation pair;
            pair.a = tie.a;
            pair.b = tie.b;
            pair.bFromA = worldFromB.transpose() * set.worldFromCamera[tie.a];
            pair.inliers = inliers;
            pair.in_overlap = n + 20;
            out.push_back(pair);
        };
        if (random() % 2) add(pan(random() % 2 ? 3 : -3) * set.worldFromCamera[tie.b], n * 2 / 3);
        add(set.worldFromCamera[tie.b], n);
    }
    return out;
}

void measure(const std::vector<std::pair<double, int>>& rows, double focal_mm) {
    const calib::Sensor sensor{36, 20.25, 2048, 1152};
    calib::Lens lens;
    lens.focal_mm = focal_mm;
    std::mt19937 random(1);
    auto set = turnedPlates(turnedRows(rows, 1), lens, lens, sensor);
    const auto ties = allTies(set, 100, 0.1, random);
    const auto hypotheses = hypothesesOf(set, ties, random);
    const int plates = int(set.plates.size());

    // Plates that look nearly the same way ought to match.
    const double near = std::cos(12 * kRadPerDeg);
    const ExpectedMatches expected = [&](int, int, const Matrix3d& bFromA) {
        return bFromA(1, 1) > near ? 20.0 : 0.0;
    };
    RotationGraph graph;
    const double choosing = seconds([&] {
        graph = chooseRotations(plates, hypotheses, std::vector<std::optional<Matrix3d>>(plates), 1,
                                0.5, expected);
    });
    const auto errors = errors_deg(graph.worldFromCamera, set.worldFromCamera);
    double worst = 0;
    for (const double error : errors) worst = std::max(worst, error);

    BundleResult known, unknown;
    const double with_known = seconds([&] {
        known = bundleAdjust(set.plates, ties, graph.worldFromCamera, {}, {.covariance = true});
    });
    for (auto& plate : set.plates) {
        plate.distortion_known = false;
        plate.focal_sigma = 0.03;
    }
    const double with_unknown = seconds([&] {
        unknown = bundleAdjust(
            set.plates, ties, graph.worldFromCamera, {},
            {.radial_terms = 2, .solve_axis = true, .breathing_sigma = 0.003, .covariance = true});
    });
    std::printf("%6d %8zu %8zu %10.2f %9zu %8.2f %10.2f %10.2f\n", plates, hypotheses.size(),
                ties.size(), choosing, errors.size(), worst, with_known, with_unknown);
}

}  // namespace

int main() {
    std::setvbuf(stdout, nullptr, _IOLBF, 0);
    std::printf("plates    pairs     ties   choose s    placed  off deg   bundle s  unknown s\n");
    measure({{-32, 7}, {0, 8}, {32, 7}}, 24);
    measure({{-40, 12}, {-13, 16}, {13, 16}, {40, 12}}, 35);
    measure({{-45, 20}, {-30, 24}, {-15, 28}, {0, 28}, {15, 28}, {30, 24}, {45, 20}}, 50);
    measure({{-48, 36},
             {-36, 44},
             {-24, 50},
             {-12, 54},
             {0, 56},
             {12, 54},
             {24, 50},
             {36, 44},
             {48, 36}},
            70);
}
