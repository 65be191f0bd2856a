#include "stitch/solve/bundle.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "stitch/plates/upright_picture.h"
#include "stitch/solve/tie_residual.h"
#include "tests/unit/stitch/solve/turned_plates.h"

using namespace plateloom;
using namespace plateloom::stitch;

namespace {

constexpr double kRadPerDeg = 3.14159265358979323846 / 180.0;
const calib::Sensor kSensor{36, 20.25, 2048, 1152};
const std::vector<std::pair<double, int>> kThreeRows{{-32, 7}, {0, 8}, {32, 7}};

calib::Lens lensOf(double focal_mm, double k1 = 0) {
    calib::Lens lens;
    lens.focal_mm = focal_mm;
    lens.distortion.radial[0] = k1;
    return lens;
}

// Where a solve begins: the truth, a degree or so off.
std::vector<std::optional<Matrix3d>> roughly(const std::vector<Matrix3d>& truth, double sigma_deg,
                                             std::mt19937& random) {
    std::normal_distribution<double> normal(0, sigma_deg * kRadPerDeg);
    std::vector<std::optional<Matrix3d>> out;
    for (const auto& r : truth) {
        const Vector3d w(normal(random), normal(random), normal(random));
        out.emplace_back(Eigen::AngleAxisd(w.norm(), w.normalized()).toRotationMatrix() * r);
    }
    return out;
}

double largestError_px(const BundleResult& result, const TurnedPlates& set) {
    const auto errors = errors_deg(result.worldFromCamera, set.worldFromCamera);
    const double focal_px = set.true_lens.focal_mm / kSensor.mmPerPixelX();
    return *std::max_element(errors.begin(), errors.end()) * kRadPerDeg * focal_px;
}

double rootMeanSquare(const std::vector<double>& values) {
    double sum = 0;
    for (const double v : values) sum += v * v;
    return std::sqrt(sum / double(values.size()));
}

// Ties without noise of plates that each have a lens of their own.
std::vector<Tie> tiesThrough(const std::vector<calib::LensMap>& true_lens, const TurnedPlates& set,
                             std::mt19937& random) {
    std::vector<Tie> ties = allTies(set, 40, 0, random);
    for (auto& tie : ties) {  // the same places, as the true lenses record them
        const auto ray = true_lens[tie.a].rayFromRecorded(tie.px_a);
        const auto px_b = true_lens[tie.b].recordedFromRay(set.worldFromCamera[tie.b].transpose() *
                                                           (set.worldFromCamera[tie.a] * *ray));
        REQUIRE(px_b);
        tie.px_b = *px_b;
        tie.sigma_px = 0.05;
    }
    return ties;
}

}  // namespace

TEST_CASE("The residual of a tie is its distance on the second plate, in pixels over sigma") {
    const Matrix3d worldFromA = calib::worldFromCamera({20, 10, 3});
    const Matrix3d worldFromB = calib::worldFromCamera({-5, 2, -4});
    const auto set = turnedPlates({worldFromA, worldFromB}, lensOf(24), lensOf(24), kSensor);
    const calib::LensMap lens(lensOf(24), kSensor);
    const Vector2d px_a(1700, 500);
    const Vector2d px_b =
        *lens.flatFromRay(worldFromB.transpose() * (worldFromA * lens.rayFromFlat(px_a)));
    const auto end = [&](const Vector2d& px) {
        return FlatPoint{calib::mmFromPixel(kSensor, px),
                         24,
                         kSensor.halfDiagonal_mm(),
                         {1 / kSensor.mmPerPixelX(), 1 / kSensor.mmPerPixelY()},
                         false,
                         1,
                         {0, 0}};
    };
    TieResidual tie;
    tie.a = end(px_a);
    tie.b = end(px_b + Vector2d(0.5, -0.25));
    tie.weight = 4;
    const Eigen::Quaterniond qa(worldFromA), qb(worldFromB);
    const double lens_term[kLensTerms] = {1}, still = 1;
    double residual[2];
    tie(qa.coeffs().data(), qb.coeffs().data(), lens_term, lens_term, &still, &still, residual);
    CHECK(residual[0] == Approx(-0.5 * 4).margin(1e-9));
    CHECK(residual[1] == Approx(0.25 * 4).margin(1e-9));
}

TEST_CASE("Exact ties give the exact rotations") {
    std::mt19937 random(1);
    const auto set =
        turnedPlates(turnedRows(kThreeRows, 1), lensOf(24, 2e-4), lensOf(24, 2e-4), kSensor);
    const auto ties = allTies(set, 40, 0, random);
    const auto result = bundleAdjust(set.plates, ties, roughly(set.worldFromCamera, 0.5, random),
                                     {}, {.solve_focal = false, .outlier_px = 0});
    CHECK(result.usable);
    CHECK(result.rms_px < 1e-6);
    CHECK(largestError_px(result, set) < 1e-6);
}

TEST_CASE("The stated uncertainty is the error that there is") {
    // 22 plates, ties of 0.2 px, many draws: the mean square of error over sigma is near 1.
    std::vector<double> in_sigmas;
    double largest = 0;
    for (unsigned seed = 1; seed <= 8; ++seed) {
        std::mt19937 random(seed);
        const auto set =
            turnedPlates(turnedRows(kThreeRows, seed), lensOf(24), lensOf(24), kSensor);
        auto ties = allTies(set, 25, 0.2, random);
        for (auto& tie : ties) tie.sigma_px = 0.1;  // said to be better than they are
        const auto result =
            bundleAdjust(set.plates, ties, roughly(set.worldFromCamera, 0.5, random), {},
                         {.loss_px = 5, .covariance = true});
        const auto errors = errors_deg(result.worldFromCamera, set.worldFromCamera);
        // The error has three axes, the sigma is of the worst one.
        for (size_t p = 0; p < errors.size(); ++p)
            in_sigmas.push_back(errors[p] / (std::sqrt(3.0) * result.sigma_deg[p]));
        largest = std::max(largest, largestError_px(result, set));
    }
    CHECK(largest < 0.3);
    CHECK(rootMeanSquare(in_sigmas) > 0.6);
    CHECK(rootMeanSquare(in_sigmas) < 1.2);
}

TEST_CASE("A third of wrong ties, up to forty pixels off, does no harm") {
    std::mt19937 random(4);
    const auto set = turnedPlates(turnedRows(kThreeRows, 4), lensOf(24), lensOf(24), kSensor);
    auto ties = allTies(set, 30, 0.1, random);
    std::uniform_real_distribution<double> off(-40, 40);
    size_t wrong = 0;
    for (size_t t = 0; t < ties.size(); t += 3, ++wrong)
        ties[t].px_b += Vector2d(off(random), off(random));
    const auto result = bundleAdjust(set.plates, ties, roughly(set.worldFromCamera, 0.1, random),
                                     {}, {.loss_px = 1, .outlier_px = 1});
    CHECK(largestError_px(result, set) < 0.15);
    const auto in = size_t(std::count(result.inlier.begin(), result.inlier.end(), 1));
    CHECK(in < ties.size() - wrong + wrong / 50);
    CHECK(in > (ties.size() - wrong) * 98 / 100);
}

TEST_CASE("An unknown focal length and an unknown bend are found from the overlaps") {
    const double scale = GENERATE(0.85, 1.2);
    const double k1 = GENERATE(3e-4, -2e-4);  // mm^-2: 13 and -9 % in the corners
    const bool full_turn = GENERATE(true, false);
    CAPTURE(scale, k1, full_turn);
    std::mt19937 random(5);
    const auto where = full_turn ? turnedRows(kThreeRows, 5)
                                 : std::vector<Matrix3d>{calib::worldFromCamera({25, 0, 1}),
                                                         calib::worldFromCamera({0, 3, 0}),
                                                         calib::worldFromCamera({-26, -2, 0})};
    auto set = turnedPlates(where, lensOf(20, k1), lensOf(20 / scale), kSensor);
    for (auto& plate : set.plates) {
        plate.distortion_known = false;
        plate.focal_sigma = 0.5;
    }
    const auto ties = allTies(set, 60, 0.1, random);
    const auto first = bundleAdjust(set.plates, ties, roughly(set.worldFromCamera, 1.0, random), {},
                                    {.radial_terms = 1, .loss_px = 20, .outlier_px = 0});
    const auto second =
        bundleAdjust(set.plates, ties, first.worldFromCamera, first.correction,
                     {.radial_terms = 2, .loss_px = 1, .outlier_px = 3, .covariance = true});
    const auto& lens = second.correction[0];
    const double h = kSensor.halfDiagonal_mm();
    CHECK(second.rms_px < 0.2);
    CHECK(lens.term[kScale] == Approx(scale).margin(0.002 + 4 * lens.sigma(kScale)));
    CHECK(lens.sigma(kScale) < (full_turn ? 0.001 : 0.01));
    CHECK(lens.term[kC1] == Approx(k1 * h * h).margin(4 * lens.sigma(kC1)));
    CHECK(lens.sigma(kC1) < 0.02);

    // The lens that travels draws the same rays as the true one.
    const calib::LensMap found(corrected(set.plates[0], lens), kSensor),
        truth(set.true_lens, kSensor);
    for (const Vector2d& px : {Vector2d(30, 20), Vector2d(1900, 600), Vector2d(900, 1100)})
        CHECK(std::acos(found.rayFromRecorded(px)->dot(*truth.rayFromRecorded(px))) <
              (full_turn ? 2e-4 : 5e-3));
}

TEST_CASE(
    "An optical axis beside the middle and a lens that breathes are found from the overlaps") {
    std::mt19937 random(11);
    std::uniform_real_distribution<double> breath(-0.004, 0.004);
    auto set = turnedPlates(turnedRows(kThreeRows, 11), lensOf(24), lensOf(24), kSensor);
    std::vector<double> true_breathing;
    std::vector<calib::LensMap> true_lens;
    for (auto& plate : set.plates) {
        plate.distortion_known = false;
        plate.focal_sigma = 0.03;
        true_breathing.push_back(1 + breath(random));
        calib::Lens lens = lensOf(24 * true_breathing.back(), 1e-4);
        lens.projection_offset_mm = {0.11, -0.07};
        true_lens.emplace_back(lens, kSensor);
    }
    const auto ties = tiesThrough(true_lens, set, random);
    const auto result =
        bundleAdjust(set.plates, ties, roughly(set.worldFromCamera, 0.3, random), {},
                     {.radial_terms = 2, .solve_axis = true, .breathing_sigma = 0.003});
    CHECK(result.rms_px < 0.01);
    CHECK(result.correction[0].term[kAxisX] == Approx(0.11).margin(0.003));
    CHECK(result.correction[0].term[kAxisY] == Approx(-0.07).margin(0.003));
    for (size_t p = 0; p < set.plates.size(); ++p) {
        const double focal = 24 * result.correction[0].term[kScale] * result.breathing[p];
        CHECK(focal == Approx(24 * true_breathing[p]).epsilon(2e-4));
        const calib::LensMap found(
            corrected(set.plates[p], result.correction[0], result.breathing[p]), kSensor);
        const auto ray = found.rayFromRecorded({100, 60});
        CHECK(std::acos(ray->dot(*true_lens[p].rayFromRecorded({100, 60}))) < 2e-4);
    }
}

TEST_CASE("A distortion that goes with a breathing that is known is found from the overlaps") {
    constexpr double kPerBreath = 0.02;  // mm^-2: 28 % more in the corners for 3 % of focal length
    std::mt19937 random(12);
    std::uniform_real_distribution<double> breath(-0.006, 0.006);
    auto set = turnedPlates(turnedRows(kThreeRows, 12), lensOf(24), lensOf(24), kSensor);
    std::vector<calib::LensMap> true_lens;
    for (auto& plate : set.plates) {
        plate.distortion_known = false;
        plate.known_breathing = 1 + breath(random);
        plate.lens.focal_mm = 24 * plate.known_breathing;
        true_lens.emplace_back(
            lensOf(plate.lens.focal_mm, 1e-4 + kPerBreath * (plate.known_breathing - 1)), kSensor);
    }
    const auto ties = tiesThrough(true_lens, set, random);
    const auto result = bundleAdjust(set.plates, ties, roughly(set.worldFromCamera, 0.3, random),
                                     {}, {.radial_terms = 2, .solve_axis = true});
    CHECK(result.rms_px < 0.01);
    const double h = kSensor.halfDiagonal_mm();
    CHECK(result.correction[0].term[kC1ByBreathing] == Approx(kPerBreath * h * h).epsilon(0.02));
    for (size_t p = 0; p < set.plates.size(); ++p) {
        const calib::LensMap found(corrected(set.plates[p], result.correction[0]), kSensor);
        for (const Vector2d& px : {Vector2d(100, 60), Vector2d(1900, 600)})
            CHECK((*found.rayFromRecorded(px) - *true_lens[p].rayFromRecorded(px)).norm() < 1e-4);
    }
}

TEST_CASE("A focal length known to a thousandth moves only as far as the ties insist") {
    std::mt19937 random(6);
    // One pair that hardly overlaps says nearly nothing about the focal length.
    auto set = turnedPlates({calib::worldFromCamera({0, 0, 0}), calib::worldFromCamera({55, 0, 0})},
                            lensOf(24), lensOf(24), kSensor);
    const auto ties = tiesBetween(set, 0, 1, 12, 1.0, random);
    REQUIRE(ties.size() == 12);
    const auto result =
        bundleAdjust(set.plates, ties, roughly(set.worldFromCamera, 0.1, random), {}, {});
    CHECK(std::abs(result.correction[0].term[kScale] - 1) < 0.002);
}

TEST_CASE("Groups of plates each find their own lens") {
    std::mt19937 random(7);
    auto set = turnedPlates(turnedRows({{0, 9}}, 7), lensOf(20), lensOf(20), kSensor);
    for (size_t p = 0; p < 9; ++p) {
        auto& plate = set.plates[p];
        plate.lens_group = p % 2;
        plate.focal_sigma = 0.05;
        if (p % 2) plate.lens.focal_mm = 19.5;
    }
    const auto ties = allTies(set, 40, 0.05, random);
    const auto result =
        bundleAdjust(set.plates, ties, roughly(set.worldFromCamera, 0.5, random), {}, {});
    REQUIRE(result.correction.size() == 2);
    CHECK(result.correction[0].term[kScale] == Approx(1).margin(5e-4));
    CHECK(result.correction[1].term[kScale] == Approx(20 / 19.5).margin(5e-4));
}

TEST_CASE("Poses as priors orient the whole and hold a plate whose ties say little") {
    std::mt19937 random(8);
    auto set = turnedPlates(turnedRows({{0, 8}}, 8), lensOf(20), lensOf(20), kSensor);
    for (size_t p = 0; p < 8; ++p) set.plates[p].pose = calib::panTiltRoll(set.worldFromCamera[p]);
    const auto result = bundleAdjust(set.plates, allTies(set, 20, 0.1, random),
                                     roughly(set.worldFromCamera, 1, random), {},
                                     {.pose_sigma_deg = 0.5, .covariance = true});
    for (size_t p = 0; p < 8; ++p) {
        CHECK(calib::angleBetween_deg(*result.worldFromCamera[p], set.worldFromCamera[p]) < 0.02);
        CHECK(result.sigma_deg[p] < 0.5);
    }
}

TEST_CASE("Plates without a start, ties outside the lens and no ties at all are borne") {
    std::mt19937 random(9);
    const auto set = turnedPlates(turnedRows({{0, 8}}, 9), lensOf(20), lensOf(20), kSensor);
    const auto ties = allTies(set, 20, 0.1, random);
    auto start = roughly(set.worldFromCamera, 0.2, random);
    start[3].reset();
    const auto result = bundleAdjust(set.plates, ties, start, {}, {.covariance = true});
    CHECK(result.usable);
    CHECK_FALSE(result.worldFromCamera[3]);
    CHECK(std::isinf(result.sigma_deg[3]));
    for (size_t t = 0; t < ties.size(); ++t)
        CHECK(bool(result.inlier[t]) == (ties[t].a != 3 && ties[t].b != 3));
    const auto nothing = bundleAdjust(set.plates, {}, start, {}, {.covariance = true});
    CHECK_FALSE(nothing.usable);
    CHECK(nothing.worldFromCamera[0]);
}

TEST_CASE("A table's axis and tangential terms are set right within what it claims of them") {
    for (const auto direction : {calib::DistortionDirection::recorded_to_flat,
                                 calib::DistortionDirection::flat_to_recorded}) {
        std::mt19937 random(17);
        calib::Lens truth = lensOf(28, 1.4e-4);
        truth.distortion.direction = direction;
        truth.projection_offset_mm = {-0.06, 0.11};
        truth.distortion_offset_mm = {0.08, -0.05};
        calib::Lens table = truth;
        // An axis off by an eighth of a pixel over a distortion that stays on the sensor.
        const Vector2d off_mm(0.0022, -0.0015);
        table.projection_offset_mm += off_mm;
        table.distortion_offset_mm -= off_mm;
        table.distortion.tangential = {4e-7, -3e-7};
        auto set = turnedPlates(turnedRows(kThreeRows, 3), truth, table, kSensor);
        const auto ties = allTies(set, 30, 0.03, random);
        const auto start = roughly(set.worldFromCamera, 0.2, random);

        BundleSettings settings;
        settings.solve_table_geometry = true;
        const double held =
            largestError_px(bundleAdjust(set.plates, ties, start, {}, settings), set);
        CHECK(held > 0.08);  // the table claims to be exact: every camera turns with its axis

        for (auto& plate : set.plates) plate.geometry_sigma = {0.002, 5e-7, {}};
        settings.covariance = true;
        const auto result = bundleAdjust(set.plates, ties, start, {}, settings);
        CHECK(largestError_px(result, set) < 0.3 * held);
        const auto& found = result.correction[0];
        const calib::Lens lens = corrected(set.plates[0], found);
        for (int i = 0; i < 2; ++i) {
            CHECK(std::abs((lens.projection_offset_mm - truth.projection_offset_mm)[i]) <
                  4 * found.sigma(LensTerm(kAxisX + i)));
            CHECK(found.sigma(LensTerm(kAxisX + i)) < 0.001);
            CHECK(std::abs(lens.distortion.tangential[size_t(i)]) * kSensor.halfDiagonal_mm() <
                  4 * found.sigma(LensTerm(kP1 + i)));
        }
        // The lens that travels is the one that was solved with.
        const calib::LensMap through(lens, kSensor), real(truth, kSensor);
        for (const Vector2d& px : {Vector2d(20, 30), Vector2d(1900, 400), Vector2d(1024, 1100)})
            CHECK((*through.recordedFromRay(*real.rayFromRecorded(px)) - px).norm() < 0.03);

        settings.solve_table_geometry = false;
        CHECK(largestError_px(bundleAdjust(set.plates, ties, start, {}, settings), set) ==
              Approx(held));
    }
}

TEST_CASE("A table's distortion is set right within what it claims of it") {
    for (const auto direction : {calib::DistortionDirection::recorded_to_flat,
                                 calib::DistortionDirection::flat_to_recorded}) {
        std::mt19937 random(23);
        calib::Lens truth = lensOf(28, 1.4e-4);
        truth.distortion.direction = direction;
        calib::Lens table = truth;
        // A tenth of a pixel at three quarters of the way out, and two to four of them in the
        // corner: as a chart leaves it that did not reach so far.
        const double h = kSensor.halfDiagonal_mm(), h4 = h * h * h * h;
        table.distortion.radial[2] += 4.3e-4 / h4;
        table.distortion.radial[4] -= 8e-4 / (h4 * h * h);
        auto set = turnedPlates(turnedRows(kThreeRows, 3), truth, table, kSensor);
        const auto ties = allTies(set, 30, 0.03, random);
        const auto start = roughly(set.worldFromCamera, 0.2, random);
        const auto inCorner_px = [&](const calib::Lens& lens) {
            const Vector2d corner(10, 10);
            return (*calib::LensMap(lens, kSensor)
                         .recordedFromRay(*calib::LensMap(truth, kSensor).rayFromRecorded(corner)) -
                    corner)
                .norm();
        };
        REQUIRE(inCorner_px(table) > 0.2);

        BundleSettings settings;
        settings.solve_table_geometry = true;
        settings.covariance = true;
        const auto with = [&](const std::array<double, 3>& radial_mm) {
            for (auto& plate : set.plates) plate.geometry_sigma = {0.0005, 1e-7, radial_mm};
            const auto result = bundleAdjust(set.plates, ties, start, {}, settings);
            return std::pair(inCorner_px(corrected(set.plates[0], result.correction[0])), result);
        };
        // Sure of itself, the table is left as it is (but for the focal length, which eases it a
        // little), as one that says nothing of its distortion.
        CHECK(with({1e-6, 1e-6, 1e-6}).first > 0.7 * inCorner_px(table));
        CHECK(with({}).second.correction[0].term[kC2] == 0);
        const auto [left_px, result] = with({0.001, 0.003, 0.01});
        CHECK(left_px < 0.25 * inCorner_px(table));
        CHECK(largestError_px(result, set) < 0.03);
        CHECK(result.correction[0].sigma(kC2) > 0);
    }
}

TEST_CASE("What the ties hardly tell is stated no less surely than it was known before") {
    // A long lens: two plates tell next to nothing of its focal length, however rough their ties.
    std::mt19937 random(4);
    auto set =
        turnedPlates({calib::worldFromCamera({0, 0, 0}), calib::worldFromCamera({1.8, 0, 0})},
                     lensOf(800), lensOf(800), kSensor);
    for (auto& plate : set.plates) plate.focal_sigma = 0.03;
    auto ties = allTies(set, 40, 0.3, random);
    REQUIRE(ties.size() == 40);
    for (auto& tie : ties) tie.sigma_px = 0.1;  // said to be better than they are
    const auto result = bundleAdjust(set.plates, ties, roughly(set.worldFromCamera, 0.01, random),
                                     {}, {.outlier_px = 0, .covariance = true});
    REQUIRE(result.usable);
    CHECK(result.correction[0].sigma(kScale) <= 0.03 * 1.001);
    CHECK(result.correction[0].sigma(kScale) > 0.02);
}

TEST_CASE("A plate and its copy tell nothing of the lens, and are not said to") {
    auto set = turnedPlates({calib::worldFromCamera({0, 0, 0}), calib::worldFromCamera({0, 0, 0})},
                            lensOf(24), lensOf(24), kSensor);
    for (auto& plate : set.plates) plate.focal_sigma = 0.5;
    std::mt19937 random(4);
    const auto ties = allTies(set, 100, 0, random);
    const auto result = bundleAdjust(set.plates, ties, roughly(set.worldFromCamera, 0.01, random),
                                     {}, {.outlier_px = 0, .covariance = true});
    REQUIRE(result.usable);
    CHECK(result.correction[0].sigma(kScale) > 0.1);
}

TEST_CASE("A picture turned upright shares its lens with the lying ones, centre and all") {
    calib::Lens truth = lensOf(24, 2e-4);
    truth.projection_offset_mm = {0.12, -0.07};
    for (const int quarter_turn : {1, -1}) {
        std::mt19937 random(6);
        auto set = turnedPlates(turnedRows(kThreeRows, 1), truth, lensOf(24), kSensor);
        std::vector<calib::LensMap> lenses;
        for (size_t p = 0; p < set.plates.size(); ++p) {
            Plate& plate = set.plates[p];
            plate.distortion_known = false;
            plate.focal_sigma = 0.03;
            plate.quarter_turn = p % 5 == 2 ? quarter_turn : 0;
            if (plate.quarter_turn != 0) plate.sensor = {20.25, 36, 1152, 2048};
            lenses.emplace_back(turned(truth, plate.quarter_turn), plate.sensor);
        }
        std::vector<Tie> ties;
        std::uniform_real_distribution<double> across(0, 1);
        for (int a = 0; a < int(lenses.size()); ++a)
            for (int b = a + 1; b < int(lenses.size()); ++b)
                for (int i = 0; i < 300; ++i) {
                    const auto& sensor = set.plates[size_t(a)].sensor;
                    const Vector2d px(sensor.width_px * across(random),
                                      sensor.height_px * across(random));
                    const auto ray = lenses[size_t(a)].rayFromRecorded(px);
                    const auto there = lenses[size_t(b)].recordedFromRay(
                        set.worldFromCamera[size_t(b)].transpose() *
                        (set.worldFromCamera[size_t(a)] * *ray));
                    if (there && lenses[size_t(b)].inPicture(*there))
                        ties.push_back({a, b, px, *there, 0.05});
                }
        const auto result =
            bundleAdjust(set.plates, ties, roughly(set.worldFromCamera, 0.5, random), {},
                         {.radial_terms = 1, .solve_axis = true, .outlier_px = 0});
        REQUIRE(result.usable);
        CHECK(result.rms_px < 0.01);
        CHECK(largestError_px(result, set) < 0.05);
        const calib::Lens upright = corrected(set.plates[2], result.correction[0]);
        const calib::Lens expected = turned(truth, quarter_turn);
        CHECK((upright.projection_offset_mm - expected.projection_offset_mm).norm() < 0.02);
    }
}
