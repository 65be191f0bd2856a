#include "calib/chart_solve.h"

#include <Eigen/Geometry>
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "calib/chart_choice.h"
#include "calib/chart_residual.h"
#include "calib/lens_table.h"

using namespace plateloom::calib;

namespace {

constexpr double kRad = 3.14159265358979323846 / 180;
const Sensor kSensor{36, 20.25, 1920, 1080};

// A wide lens: 4 % barrel in the corners, the axis and the distortion beside the middle.
Lens wideLens(DistortionDirection direction) {
    Lens lens;
    lens.focal_mm = 24;
    lens.distortion.direction = direction;
    const double sign = direction == DistortionDirection::recorded_to_flat ? 1 : -1;
    lens.distortion.radial = {sign * 1.3e-4, 0, sign * -6e-8, 0, 0, 0};
    lens.projection_offset_mm = {0.11, -0.07};
    return lens;
}

BoardPose facing(double pan_deg, double tilt_deg, double roll_deg, const Vector3d& place_mm) {
    using Turn = Eigen::AngleAxis<double>;
    const Turn turn(Turn(pan_deg * kRad, Vector3d::UnitZ()) *
                    Turn(tilt_deg * kRad, Vector3d::UnitX()) *
                    Turn(roll_deg * kRad, Vector3d::UnitY()) * Turn(-90 * kRad, Vector3d::UnitX()));
    return {turn.angle() * turn.axis(), place_mm};
}

// Boards that fill about half the frame's width, at all sides of it, tilted.
std::vector<BoardPose> prepDay(int count, double tilt = 1) {
    std::vector<BoardPose> poses;
    for (int k = 0; k < count; ++k)
        poses.push_back(
            facing(tilt * 32 * std::sin(1.7 * k), tilt * 28 * std::cos(2.3 * k), 40 * std::sin(k),
                   {250.0 * ((k % 3) - 1), 640 + 40.0 * (k % 4), 130.0 * (k / 3 % 3 - 1)}));
    return poses;
}

struct Shots {
    std::vector<ChartView> views;
    ChartFit truth;
};

// What lies in the frame of the board's points, with noise.
Shots shoot(const ChartBoard& board, const Lens& lens, const BoardShape& shape,
            const std::vector<BoardPose>& poses, double noise_px) {
    Shots out;
    out.truth.usable = true;
    out.truth.lens = lens;
    out.truth.model.direction = lens.distortion.direction;
    out.truth.shape = shape;
    out.truth.poses = poses;
    std::mt19937 random(7);
    std::normal_distribution<double> noise(0, 1);
    for (const auto& pose : poses) {
        const LensMap map(lens, kSensor);
        ChartView view;
        for (size_t i = 0; i < board.points_mm.size(); ++i) {
            const auto near = map.recordedFromRay(pose.place_mm);
            const auto px =
                recordedPoint(board, kSensor, out.truth, pose, board.points_mm[i], *near);
            if (!px || !map.inPicture(*px)) continue;
            view.point.push_back(int(i));
            view.recorded_px.push_back(*px + noise_px * Vector2d(noise(random), noise(random)));
        }
        out.views.push_back(view);
    }
    return out;
}

// The furthest that two lenses record one flat position apart, over a grid of the points' reach.
double lensesDiffer_px(const Lens& a, const Lens& b, double share) {
    const LensMap first(a, kSensor), second(b, kSensor);
    double worst = 0;
    for (int j = -8; j <= 8; ++j)
        for (int i = -8; i <= 8; ++i) {
            const Vector2d px(960 + share * 120 * i, 540 + share * 67.5 * j);
            const auto ray = first.rayFromRecorded(px);
            const auto again = second.recordedFromRay(*ray);
            worst = std::max(worst, again ? (*again - px).norm() : 1e9);
        }
    return worst;
}

}  // namespace

TEST_CASE("the written-out derivatives are those of the residual", "[calib][chart]") {
    const double lens[kLensNumbers] = {1.2,  0.01, -0.02, 0.006, 0.004, 0.05,  0.01,
                                       0.02, 0.03, -0.01, 0.02,  0.003, -0.002};
    const double shape[kShapeNumbers] = {0.01, 0.004, 0.02, -0.01, 0.03, 0.005, 0.01, -0.004, 0.02};
    const BoardPose at = facing(20, -15, 10, {0, 0, 0});
    const double pose[kPoseNumbers] = {at.turn.x(), at.turn.y(), at.turn.z(), 0.2, 3.1, -0.1};
    for (const auto direction :
         {DistortionDirection::recorded_to_flat, DistortionDirection::flat_to_recorded}) {
        ChartPoint3 point{direction, {0.7, -0.4}, {0.3, 0.2}};
        const ChartResidual residual(point, {0.3, 0.2}, {900, 950});
        double base[2], by_lens[2 * kLensNumbers], by_shape[2 * kShapeNumbers],
            by_pose[2 * kPoseNumbers];
        const double* blocks[3] = {lens, shape, pose};
        double* jacobians[3] = {by_lens, by_shape, by_pose};
        REQUIRE(residual.Evaluate(blocks, base, jacobians));
        const int sizes[3] = {kLensNumbers, kShapeNumbers, kPoseNumbers};
        for (int b = 0; b < 3; ++b)
            for (int i = 0; i < sizes[b]; ++i) {
                constexpr double kStep = 1e-6;
                double side[2][2];
                for (int s = 0; s < 2; ++s) {
                    std::vector<double> moved(blocks[b], blocks[b] + sizes[b]);
                    moved[size_t(i)] += s ? kStep : -kStep;
                    const double* at_step[3] = {lens, shape, pose};
                    at_step[b] = moved.data();
                    REQUIRE(residual.Evaluate(at_step, side[s], nullptr));
                }
                for (int r = 0; r < 2; ++r) {
                    INFO("block " << b << " number " << i << " row " << r);
                    const double slope = (side[1][r] - side[0][r]) / (2 * kStep);
                    CHECK(jacobians[b][r * sizes[b] + i] == Approx(slope).margin(1e-3));
                }
            }
    }
}

TEST_CASE("a board point is recorded where the lens records its ray", "[calib][chart]") {
    const auto board = regularBoard(9, 6, 50);
    for (const auto direction :
         {DistortionDirection::recorded_to_flat, DistortionDirection::flat_to_recorded}) {
        Lens lens = wideLens(direction);
        lens.distortion.tangential = {1e-5, -2e-5};
        lens.distortion_offset_mm = {-0.05, 0.02};
        ChartFit fit;
        fit.lens = lens;
        fit.model.direction = direction;
        const BoardPose pose = facing(25, -10, 5, {80, 700, -40});
        const LensMap map(lens, kSensor);
        const double angle = pose.turn.norm();
        const Matrix3d turn = Eigen::AngleAxis<double>(angle, pose.turn / angle).toRotationMatrix();
        for (const auto& point : board.points_mm) {
            const Vector3d at = turn * Vector3d(point.x(), point.y(), 0) + pose.place_mm;
            const auto expected = map.recordedFromRay(at);
            const auto px = recordedPoint(board, kSensor, fit, pose, point, *expected);
            REQUIRE(px);
            CHECK((*px - *expected).norm() < 1e-6);
        }
    }
}

TEST_CASE("without noise the lens comes back exactly, from nothing, both ways", "[calib][chart]") {
    const auto board = regularBoard(9, 6, 50);
    for (const auto direction :
         {DistortionDirection::recorded_to_flat, DistortionDirection::flat_to_recorded}) {
        const Lens lens = wideLens(direction);
        const auto shots = shoot(board, lens, {}, prepDay(9), 0);
        const auto start = startChart(board, shots.views, kSensor, direction, {});
        REQUIRE(start.usable);
        const auto fit =
            fitChart(board, shots.views, kSensor,
                     {direction, 2, 0, CentreTerms::axis, ShapeTerms::flat}, start, {});
        REQUIRE(fit.usable);
        CHECK(fit.rms_px < 1e-3);  // the weak prior on the terms is all that is left
        CHECK(fit.lens.focal_mm == Approx(24).epsilon(1e-5));
        CHECK((fit.lens.projection_offset_mm - lens.projection_offset_mm).norm() < 1e-3);
        CHECK(lensesDiffer_px(lens, fit.lens, 1) < 0.02);
    }
}

TEST_CASE("with noisy points the lens lies within its own sigmas and half a pixel",
          "[calib][chart]") {
    const auto board = regularBoard(11, 8, 36);
    const auto direction = DistortionDirection::recorded_to_flat;
    const Lens lens = wideLens(direction);
    const auto shots = shoot(board, lens, {}, prepDay(12), 0.05);
    const auto start = startChart(board, shots.views, kSensor, direction, {});
    ChoiceSettings settings;
    settings.solve.loss_px = 0.2;
    const auto choice = chooseModel(board, shots.views, kSensor, start, settings);
    REQUIRE(choice.fit.usable);
    INFO(nameOf(choice.fit.model));
    CHECK(std::abs(choice.fit.lens.focal_mm / 24 - 1) < 5e-4);
    CHECK(std::abs(choice.fit.lens.focal_mm - 24) < 4 * choice.fit.focal_sigma_mm);
    const Vector2d off = choice.fit.lens.projection_offset_mm +
                         choice.fit.lens.distortion_offset_mm - lens.projection_offset_mm;
    CHECK(off.norm() / kSensor.mmPerPixelX() < 0.5);
    // Where a point of the picture lies, by the distortion alone.
    for (size_t i = 0; i < kRadialHeights.size(); ++i) {
        const double r = kRadialHeights[i] * kSensor.halfDiagonal_mm(), r3 = r * r * r;
        const auto out_mm = [&](const Lens& one) {
            return r3 * (one.distortion.radial[0] + r * r * one.distortion.radial[2]);
        };
        const double sigma_mm = choice.fit.radial_sigma_mm[i];
        CHECK(std::abs(out_mm(choice.fit.lens) - out_mm(lens)) < 4 * sigma_mm);
        CHECK(sigma_mm < 0.5 * kSensor.mmPerPixelX());
        if (i > 0) CHECK(sigma_mm > choice.fit.radial_sigma_mm[i - 1]);
    }
    // Neither more terms than the lens has, nor a bent board that is flat.
    CHECK(choice.fit.model.above + choice.fit.model.below == 2);
    CHECK(choice.fit.model.shape == ShapeTerms::flat);
}

TEST_CASE("a bent board is told from the lens", "[calib][chart]") {
    const auto board = regularBoard(10, 7, 40);
    const auto direction = DistortionDirection::recorded_to_flat;
    const Lens lens = wideLens(direction);
    BoardShape bent;
    bent.bend = {0.004, 0.0, 0.008};  // 1.7 mm at the edge of a board of 43 cm
    const auto shots = shoot(board, lens, bent, prepDay(10), 0.05);
    const auto start = startChart(board, shots.views, kSensor, direction, {});
    ChoiceSettings settings;
    settings.solve.loss_px = 0.2;
    const auto choice = chooseModel(board, shots.views, kSensor, start, settings);
    CHECK(choice.fit.model.shape == ShapeTerms::bent);
    CHECK(choice.fit.shape.bend[2] == Approx(0.008).margin(0.0006));
    settings.board_shape = false;
    const auto flat = chooseModel(board, shots.views, kSensor, start, settings);
    CHECK(choice.held_out.rms_px < 0.8 * flat.held_out.rms_px);
}

TEST_CASE("boards all seen square on leave the focal length open, and say so", "[calib][chart]") {
    const auto board = regularBoard(9, 6, 50);
    const auto direction = DistortionDirection::recorded_to_flat;
    const auto shots = shoot(board, wideLens(direction), {}, prepDay(8, 0), 0.05);
    const auto start = startChart(board, shots.views, kSensor, direction, 24.0);
    ChartSettings settings;
    settings.sigmas = true;
    const auto fit =
        fitChart(board, shots.views, kSensor,
                 {direction, 2, 0, CentreTerms::axis, ShapeTerms::flat}, start, settings);
    CHECK(!(fit.focal_sigma_mm < 0.02 * 24));
}

TEST_CASE("a dot's recorded middle is moved back to its own middle", "[calib][chart]") {
    auto board = regularBoard(5, 4, 60);
    board.dot_mm = 40;
    const auto direction = DistortionDirection::recorded_to_flat;
    const auto shots = shoot(board, wideLens(direction), {}, prepDay(4), 0);
    // The middle of the disc's picture, by brute force over its area.
    std::vector<ChartView> seen = shots.views;
    double most = 0;
    for (size_t v = 0; v < seen.size(); ++v)
        for (size_t i = 0; i < seen[v].point.size(); ++i) {
            const Vector2d middle = board.points_mm[size_t(seen[v].point[i])];
            Vector2d moment = Vector2d::Zero();
            double mass = 0;
            constexpr int kSteps = 24;
            for (int y = -kSteps; y < kSteps; ++y)
                for (int x = -kSteps; x < kSteps; ++x) {
                    const double cell = 20.0 / kSteps;
                    const Vector2d low = middle + cell * Vector2d(x, y);
                    if ((low + Vector2d(cell, cell) / 2 - middle).norm() > 20) continue;
                    std::array<Vector2d, 3> p;
                    const std::array<Vector2d, 3> corner{low, low + Vector2d(cell, 0),
                                                         low + Vector2d(0, cell)};
                    for (size_t k = 0; k < 3; ++k)
                        p[k] = *recordedPoint(board, kSensor, shots.truth, shots.truth.poses[v],
                                              corner[k], seen[v].recorded_px[i]);
                    const Vector2d a = p[1] - p[0], b = p[2] - p[0];
                    const double area = std::abs(a.x() * b.y() - a.y() * b.x());
                    mass += area;
                    moment += area * (p[0] + (a + b) / 2);
                }
            seen[v].recorded_px[i] = moment / mass;
            most = std::max(most, (moment / mass - shots.views[v].recorded_px[i]).norm());
        }
    REQUIRE(most > 0.3);  // px: worth correcting
    const auto mended = withDotsCentred(board, seen, kSensor, shots.truth);
    for (size_t v = 0; v < seen.size(); ++v)
        for (size_t i = 0; i < seen[v].point.size(); ++i)
            CHECK((mended[v].recorded_px[i] - shots.views[v].recorded_px[i]).norm() < 0.1 * most);
}
