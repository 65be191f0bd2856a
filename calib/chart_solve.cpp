#include "calib/chart_solve.h"

#include <ceres/ceres.h>

#include <algorithm>
#include <array>
#include <limits>
#include <memory>

#include "calib/chart_residual.h"
#include "calib/chart_start.h"
#include "calib/lens_table.h"

namespace plateloom::calib {

namespace {

constexpr double kInfinity = std::numeric_limits<double>::infinity();

// What the solver works on; see calib/chart_residual.h for units and order.
struct ChartNumbers {
    std::array<double, kLensNumbers> lens{};
    std::array<double, kShapeNumbers> shape{};
    std::vector<std::array<double, kPoseNumbers>> poses;
};

struct Units {
    double sensor_mm, board_mm;
    Units(const ChartBoard& board, const Sensor& sensor)
        : sensor_mm(sensor.halfDiagonal_mm()), board_mm(board.reach_mm()) {}
};

std::array<double, kPoseNumbers> numbersOf(const BoardPose& pose, double board_mm) {
    return {pose.turn.x(),
            pose.turn.y(),
            pose.turn.z(),
            pose.place_mm.x() / board_mm,
            pose.place_mm.y() / board_mm,
            pose.place_mm.z() / board_mm};
}

BoardPose poseOf(const std::array<double, kPoseNumbers>& n, double board_mm) {
    return {{n[0], n[1], n[2]}, Vector3d(n[3], n[4], n[5]) * board_mm};
}

ChartNumbers numbersOf(const ChartFit& fit, const Units& unit) {
    ChartNumbers out;
    const Lens& lens = fit.lens;
    out.lens[kFocal] = lens.focal_mm / unit.sensor_mm;
    for (int i = 0; i < 2; ++i) {
        out.lens[size_t(kAxis + i)] = lens.projection_offset_mm[i] / unit.sensor_mm;
        out.lens[size_t(kCentre + i)] = lens.distortion_offset_mm[i] / unit.sensor_mm;
        out.lens[size_t(kTangential + i)] = lens.distortion.tangential[size_t(i)] * unit.sensor_mm;
    }
    const double h2 = unit.sensor_mm * unit.sensor_mm;
    const double scale[3] = {h2, h2 * h2, h2 * h2 * h2};
    for (size_t i = 0; i < 6; ++i) out.lens[kRadial + i] = lens.distortion.radial[i] * scale[i / 2];
    out.shape = {fit.shape.stretch, fit.shape.skew,    fit.shape.bend[0],
                 fit.shape.bend[1], fit.shape.bend[2], fit.shape.curl[0],
                 fit.shape.curl[1], fit.shape.curl[2], fit.shape.curl[3]};
    for (const auto& pose : fit.poses) out.poses.push_back(numbersOf(pose, unit.board_mm));
    return out;
}

// OpenLensIO's own order alternates: k1 over k2, k3 over k4 ..., each pair one power of r² higher.
void takeNumbers(const ChartNumbers& n, const Units& unit, ChartFit* fit) {
    Lens& lens = fit->lens;
    lens.focal_mm = n.lens[kFocal] * unit.sensor_mm;
    lens.distortion.direction = fit->model.direction;
    for (int i = 0; i < 2; ++i) {
        lens.projection_offset_mm[i] = n.lens[size_t(kAxis + i)] * unit.sensor_mm;
        lens.distortion_offset_mm[i] = n.lens[size_t(kCentre + i)] * unit.sensor_mm;
        lens.distortion.tangential[size_t(i)] = n.lens[size_t(kTangential + i)] / unit.sensor_mm;
    }
    const double h2 = unit.sensor_mm * unit.sensor_mm;
    const double scale[3] = {h2, h2 * h2, h2 * h2 * h2};
    for (size_t i = 0; i < 6; ++i) lens.distortion.radial[i] = n.lens[kRadial + i] / scale[i / 2];
    fit->shape = {n.shape[0],
                  n.shape[1],
                  {n.shape[2], n.shape[3], n.shape[4]},
                  {n.shape[5], n.shape[6], n.shape[7], n.shape[8]}};
    fit->poses.clear();
    for (const auto& pose : n.poses) fit->poses.push_back(poseOf(pose, unit.board_mm));
}

// Everything that the model does not free is what a plain lens and a flat board have.
std::vector<int> heldLensNumbers(const ChartModel& model, const std::optional<Vector2d>& axis,
                                 ChartNumbers* n) {
    std::vector<int> held;
    const auto hold = [&](int i, double at = 0) {
        held.push_back(i);
        n->lens[size_t(i)] = at;
    };
    for (int i = 0; i < 2; ++i) {
        if (axis || model.centre == CentreTerms::none) hold(kAxis + i, axis ? (*axis)[i] : 0);
        const bool both = model.centre == CentreTerms::both;
        if (model.centre != CentreTerms::distortion && !both) hold(kCentre + i);
        if (model.centre != CentreTerms::tangential && !both) hold(kTangential + i);
    }
    for (int i = 0; i < 3; ++i) {
        if (i >= model.above) hold(kRadial + 2 * i);
        if (i >= model.below) hold(kRadial + 2 * i + 1);
    }
    return held;
}

std::vector<int> heldShapeNumbers(const ChartModel& model, ChartNumbers* n) {
    std::vector<int> held;
    const auto hold = [&](int from, int to) {
        for (int i = from; i < to; ++i) {
            held.push_back(i);
            n->shape[size_t(i)] = 0;
        }
    };
    const bool bent = model.shape != ShapeTerms::flat;
    const bool curled = model.shape == ShapeTerms::curled;
    if (!curled && model.shape != ShapeTerms::bent_and_stretched) hold(0, 2);
    if (!bent) hold(2, 5);
    if (!curled) hold(5, 9);
    return held;
}

ChartPoint3 pointOf(const ChartBoard& board, const Sensor& sensor, DistortionDirection direction,
                    const Units& unit, int point, const Vector2d& recorded_px) {
    return {direction, board.points_mm[size_t(point)] / unit.board_mm,
            mmFromPixel(sensor, recorded_px) / unit.sensor_mm};
}

// Recorded pixels in a unit of the solver's.
Vector2d pixelsPer(const Units& unit, const Sensor& sensor) {
    return {unit.sensor_mm / sensor.mmPerPixelX(), unit.sensor_mm / sensor.mmPerPixelY()};
}

ceres::CostFunction* costOf(const ChartPoint3& point, const Units& unit, const Sensor& sensor) {
    return new ChartResidual(point, point.near, pixelsPer(unit, sensor));
}

ceres::Problem::Options borrowedLoss() {
    ceres::Problem::Options options;
    options.loss_function_ownership = ceres::DO_NOT_TAKE_OWNERSHIP;
    return options;
}

// What no lens exceeds, in units where r is 1 at the frame's corner: too weak to be felt where the
// points say anything, enough to hold terms that cancel each other out. `noise_px`: about a
// point's.
struct TermPrior {
    double noise_px;
    template <class T>
    bool operator()(const T* lens, T* out) const {
        constexpr double kRadialSigma = 2, kDecentreSigma = 0.05;
        for (int i = 0; i < 6; ++i) out[i] = lens[kRadial + i] / kRadialSigma;
        for (int i = 0; i < 2; ++i) {
            out[6 + i] = lens[kCentre + i] * (noise_px / kDecentreSigma);
            out[8 + i] = lens[kTangential + i] * (noise_px / kDecentreSigma);
        }
        return true;
    }
};

std::unique_ptr<ceres::LossFunction> lossOf(double loss_px) {
    if (loss_px > 0) return std::make_unique<ceres::CauchyLoss>(loss_px);
    return nullptr;
}

// Residuals (recorded minus predicted); false where the lens can't record a point.
bool residualsOf(const ChartBoard& board, const Sensor& sensor, DistortionDirection direction,
                 const Units& unit, const ChartNumbers& n,
                 const std::array<double, kPoseNumbers>& pose, const ChartView& view,
                 std::vector<Vector2d>* out) {
    out->clear();
    bool whole = true;
    for (size_t i = 0; i < view.point.size(); ++i) {
        const auto point =
            pointOf(board, sensor, direction, unit, view.point[i], view.recorded_px[i]);
        Vector2d predicted(kInfinity, kInfinity);
        whole &= point.predict(n.lens.data(), n.shape.data(), pose.data(), &predicted, {});
        out->push_back(pixelsPer(unit, sensor).cwiseProduct(point.near - predicted));
    }
    return whole;
}

bool canStart(const ChartBoard& board, const Sensor& sensor, DistortionDirection direction,
              const Units& unit, const ChartNumbers& n, const std::vector<ChartView>& views) {
    std::vector<Vector2d> ignored;
    for (size_t v = 0; v < views.size(); ++v)
        if (!residualsOf(board, sensor, direction, unit, n, n.poses[v], views[v], &ignored))
            return false;
    return true;
}

void takeResiduals(const ChartBoard& board, const Sensor& sensor, const Units& unit,
                   const ChartNumbers& n, const std::vector<ChartView>& views, ChartFit* fit) {
    fit->residual_px.resize(views.size());
    std::vector<double> sizes;
    double sum = 0;
    size_t count = 0;
    for (size_t v = 0; v < views.size(); ++v) {
        fit->usable &= residualsOf(board, sensor, fit->model.direction, unit, n, n.poses[v],
                                   views[v], &fit->residual_px[v]);
        for (const auto& r : fit->residual_px[v]) {
            sum += r.squaredNorm();
            ++count;
            sizes.push_back(std::abs(r.x()));
            sizes.push_back(std::abs(r.y()));
        }
    }
    if (count == 0) return;
    fit->rms_px = std::sqrt(sum / double(count));
    std::nth_element(sizes.begin(), sizes.begin() + ptrdiff_t(sizes.size() / 2), sizes.end());
    fit->noise_px = 1.4826 * sizes[sizes.size() / 2];
}

// The lens block's covariance, scaled by the scatter of the residuals.
void takeSigmas(ceres::Problem& problem, const ChartNumbers& n, const Units& unit,
                double half_diagonal_mm, size_t residuals, size_t free_numbers, ChartFit* fit) {
    fit->focal_sigma_mm = kInfinity;
    fit->axis_sigma_mm = fit->centre_sigma_mm = Vector2d::Constant(kInfinity);
    fit->tangential_sigma = Vector2d::Constant(kInfinity);
    ceres::Covariance::Options options;
    options.algorithm_type = ceres::DENSE_SVD;
    options.null_space_rank = 0;
    options.min_reciprocal_condition_number = 1e-14;
    // Above some hundred numbers the dense decomposition is slow, and many views are well posed.
    if (free_numbers > 200) options.algorithm_type = ceres::SPARSE_QR;
    ceres::Covariance covariance(options);
    const double* lens = n.lens.data();
    const std::vector<std::pair<const double*, const double*>> blocks{{lens, lens}};
    if (residuals <= free_numbers || !covariance.Compute(blocks, &problem)) return;
    Eigen::Matrix<double, kLensNumbers, kLensNumbers, Eigen::RowMajor> c;
    covariance.GetCovarianceBlock(lens, lens, c.data());
    const double freedom = double(residuals) / double(residuals - free_numbers);
    const double scale = fit->noise_px * std::sqrt(freedom) * unit.sensor_mm;
    fit->focal_sigma_mm = scale * std::sqrt(c(kFocal, kFocal));
    for (int i = 0; i < 2; ++i) {
        const int a = kAxis + i, d = kCentre + i;
        fit->axis_sigma_mm[i] = scale * std::sqrt(c(a, a));
        fit->centre_sigma_mm[i] = scale * std::sqrt(std::max(0.0, c(a, a) + c(d, d) + 2 * c(a, d)));
        // p1 goes with y, p2 with x; a centre moved by dC is p = -k1 dC to first order.
        const int p = kTangential + 1 - i;
        const double per_mm2 = unit.sensor_mm * unit.sensor_mm;
        const double k1 = n.lens[kRadial];
        const double both = c(p, p) + k1 * k1 * c(d, d) - 2 * k1 * c(p, d);
        fit->tangential_sigma[1 - i] = scale / per_mm2 * std::sqrt(std::max(0.0, both));
    }
    for (size_t i = 0; i < kRadialHeights.size(); ++i) {
        // The terms below the line count against those above, to first order.
        const double r = kRadialHeights[i] * half_diagonal_mm / unit.sensor_mm;
        Eigen::Matrix<double, kLensNumbers, 1> slope =
            Eigen::Matrix<double, kLensNumbers, 1>::Zero();
        for (int term = 0; term < 6; ++term)
            slope[kRadial + term] = (term % 2 ? -1 : 1) * std::pow(r, 3 + 2 * (term / 2));
        fit->radial_sigma_mm[i] = scale * std::sqrt(std::max(0.0, slope.dot(c * slope)));
    }
}

}  // namespace

ChartFit fitChart(const ChartBoard& board, const std::vector<ChartView>& views,
                  const Sensor& sensor, const ChartModel& model, const ChartFit& start,
                  const ChartSettings& settings) {
    const Units unit(board, sensor);
    ChartNumbers n = numbersOf(start, unit);
    // The polynomial of one direction is no start for the other, but its reverse nearly is.
    if (start.model.direction != model.direction)
        for (size_t i = kRadial; i < kLensNumbers; ++i) n.lens[i] = i == kRadial ? -n.lens[i] : 0;
    std::optional<Vector2d> axis;
    if (settings.axis_mm) axis = *settings.axis_mm / unit.sensor_mm;
    const auto held_lens = heldLensNumbers(model, axis, &n),
               held_shape = heldShapeNumbers(model, &n);

    ChartFit fit;
    fit.model = model;
    if (!canStart(board, sensor, model.direction, unit, n, views)) {
        fit.why = "the lens to start from does not reach the points";
        return fit;
    }
    const auto loss = lossOf(settings.loss_px);
    ceres::Problem problem(borrowedLoss());
    auto* ordering = new ceres::ParameterBlockOrdering;
    size_t residuals = 0;
    for (size_t v = 0; v < views.size(); ++v) {
        for (size_t i = 0; i < views[v].point.size(); ++i)
            problem.AddResidualBlock(costOf(pointOf(board, sensor, model.direction, unit,
                                                    views[v].point[i], views[v].recorded_px[i]),
                                            unit, sensor),
                                     loss.get(), n.lens.data(), n.shape.data(), n.poses[v].data());
        residuals += 2 * views[v].point.size();
        if (!views[v].point.empty()) ordering->AddElementToGroup(n.poses[v].data(), 0);
    }
    problem.AddResidualBlock(new ceres::AutoDiffCostFunction<TermPrior, 10, kLensNumbers>(
                                 new TermPrior{settings.loss_px / 4}),
                             nullptr, n.lens.data());
    ordering->AddElementToGroup(n.lens.data(), 1);
    problem.SetManifold(n.lens.data(), new ceres::SubsetManifold(kLensNumbers, held_lens));
    ordering->AddElementToGroup(n.shape.data(), 1);
    if (model.shape == ShapeTerms::flat)
        problem.SetParameterBlockConstant(n.shape.data());
    else
        problem.SetManifold(n.shape.data(), new ceres::SubsetManifold(kShapeNumbers, held_shape));
    problem.SetParameterLowerBound(n.lens.data(), kFocal, 1e-3);

    ceres::Solver::Options options;
    options.linear_solver_type = ceres::DENSE_SCHUR;
    options.linear_solver_ordering.reset(ordering);
    options.max_num_iterations = settings.most_steps;
    options.function_tolerance = settings.least_gain;
    options.parameter_tolerance = 1e-10;
    options.logging_type = ceres::SILENT;
    ceres::Solver::Summary summary;
    ceres::Solve(options, &problem, &summary);

    fit.usable = summary.IsSolutionUsable();
    if (!fit.usable) fit.why = summary.message;
    takeNumbers(n, unit, &fit);
    takeResiduals(board, sensor, unit, n, views, &fit);
    if (settings.sigmas && fit.usable)
        takeSigmas(problem, n, unit, sensor.halfDiagonal_mm(), residuals,
                   size_t(model.freeNumbers()) + kPoseNumbers * views.size(), &fit);
    return fit;
}

ChartFit startChart(const ChartBoard& board, const std::vector<ChartView>& views,
                    const Sensor& sensor, DistortionDirection direction,
                    std::optional<double> nominal_focal_mm) {
    const Units unit(board, sensor);
    ChartFit best;
    best.why = "no picture shows enough of the board";
    std::vector<Matrix3d> homographies;
    for (const auto& view : views) {
        const auto h = boardHomography(board, view, sensor);
        if (!h) return best;
        homographies.push_back(*h);
    }
    // From a wide angle of 120 degrees across the diagonal to a long lens of 10.
    std::vector<double> focals{0.6, 1.2, 2.5, 5, 10};
    if (const auto focal = focalFromHomographies(homographies))
        focals.insert(focals.begin(), *focal);
    if (nominal_focal_mm) focals.insert(focals.begin(), *nominal_focal_mm / unit.sensor_mm);

    ChartSettings rough;
    rough.most_steps = 30;
    double least = kInfinity;
    for (const double focal : focals) {
        ChartFit start;
        start.model.direction = direction;
        start.lens.focal_mm = focal * unit.sensor_mm;
        for (const auto& h : homographies) {
            start.poses.push_back(poseFromHomography(h, focal));
            start.poses.back().place_mm *= unit.board_mm;
        }
        ChartModel model{direction, 1, 0, CentreTerms::none, ShapeTerms::flat};
        rough.loss_px = 3;
        auto fit = fitChart(board, views, sensor, model, start, rough);
        // The median: a picture whose board is wrong does not choose the focal length.
        if (fit.usable && fit.noise_px < 0.999 * least) {
            least = fit.noise_px;
            best = fit;
        }
    }
    return best;
}

PoseFit fitPose(const ChartBoard& board, const ChartView& view, const Sensor& sensor,
                const ChartFit& fit, const BoardPose& start, double loss_px) {
    const Units unit(board, sensor);
    ChartNumbers n = numbersOf(fit, unit);
    auto pose = numbersOf(start, unit.board_mm);
    const auto loss = lossOf(loss_px);
    ceres::Problem problem(borrowedLoss());
    for (size_t i = 0; i < view.point.size(); ++i)
        problem.AddResidualBlock(costOf(pointOf(board, sensor, fit.model.direction, unit,
                                                view.point[i], view.recorded_px[i]),
                                        unit, sensor),
                                 loss.get(), n.lens.data(), n.shape.data(), pose.data());
    if (!view.point.empty()) {
        problem.SetParameterBlockConstant(n.lens.data());
        problem.SetParameterBlockConstant(n.shape.data());
    }
    ceres::Solver::Options options;
    options.linear_solver_type = ceres::DENSE_QR;
    options.max_num_iterations = 50;
    options.function_tolerance = 1e-12;
    options.logging_type = ceres::SILENT;
    ceres::Solver::Summary summary;
    ceres::Solve(options, &problem, &summary);

    PoseFit out;
    out.pose = poseOf(pose, unit.board_mm);
    out.usable =
        residualsOf(board, sensor, fit.model.direction, unit, n, pose, view, &out.residual_px) &&
        summary.IsSolutionUsable();
    for (const auto& r : out.residual_px) out.mean_square_px += r.squaredNorm();
    out.mean_square_px /= double(std::max<size_t>(1, view.point.size()));
    return out;
}

std::optional<Vector2d> recordedPoint(const ChartBoard& board, const Sensor& sensor,
                                      const ChartFit& fit, const BoardPose& pose,
                                      const Vector2d& point_mm, const Vector2d& near_px) {
    const Units unit(board, sensor);
    const ChartNumbers n = numbersOf(fit, unit);
    const ChartPoint3 point{fit.model.direction, point_mm / unit.board_mm,
                            mmFromPixel(sensor, near_px) / unit.sensor_mm};
    Vector2d out;
    if (!point.predict(n.lens.data(), n.shape.data(), numbersOf(pose, unit.board_mm).data(), &out,
                       {}))
        return std::nullopt;
    return pixelFromMm(sensor, out * unit.sensor_mm);
}

}  // namespace plateloom::calib
