#include "stitch/mount/mount_bundle.h"

#include <ceres/ceres.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <limits>

#include "calib/angle.h"
#include "calib/median.h"
#include "stitch/solve/free_network.h"

namespace plateloom::stitch {

namespace {

constexpr double kInfinity = std::numeric_limits<double>::infinity();
constexpr int kRounds = 4;
constexpr double kLeastSigma_px = 0.03;
constexpr double kOutlierSigmas = 5;
constexpr double kLeastOutlier_px = 0.15;
// Nothing stands nearer than half a metre: so weak that it shifts no rotation, and keeps a tie
// whose distance can't be told from running away.
constexpr double kInverseSigma_m = 2;
// Pupils nearer to each other than this see no parallax worth the name.
constexpr double kApart_m = 1e-4;

// Camera b's ray as the rest has it against its own, as a shift on the plate: the difference of
// the two unit rays across b's own ray, in pixels.
struct RayResidual {
    Vector3d ray_a, ray_b, across, up;
    Vector3d apart_m;  // from b's pupil to a's
    double weight = 1;

    template <class T>
    bool operator()(const T* mountFromA, const T* mountFromB, const T* inverse_m,
                    T* residual) const {
        using Vector3 = Eigen::Matrix<T, 3, 1>;
        using Quaternion = Eigen::Map<const Eigen::Quaternion<T>>;
        const Vector3 seen =
            Quaternion(mountFromA) * ray_a.cast<T>() + inverse_m[0] * apart_m.cast<T>();
        const Vector3 in_b = (Quaternion(mountFromB).conjugate() * seen).normalized();
        // Over the part along the ray: a tangent, so that far off is far off.
        const T along = in_b.dot(ray_b.cast<T>());
        const T depth = along > 0.1 ? along : T(0.1);
        residual[0] = weight * in_b.dot(across.cast<T>()) / depth;
        residual[1] = weight * in_b.dot(up.cast<T>()) / depth;
        return true;
    }
};

struct InversePrior {
    template <class T>
    bool operator()(const T* inverse_m, T* residual) const {
        residual[0] = inverse_m[0] / kInverseSigma_m;
        return true;
    }
};

struct Job {
    const std::vector<MountBody>& bodies;
    const std::vector<MountTie>& ties;
    std::vector<Eigen::Quaterniond> mountFromBody;
    std::vector<double> inverse_m;
    std::vector<char> usable, inlier, has_distance;
    std::vector<RayResidual> residual;
    std::vector<double> sigma_px, residual_px;

    double* rotationOf(int body) { return mountFromBody[size_t(body)].coeffs().data(); }
};

Job prepare(const std::vector<MountBody>& bodies, const std::vector<MountTie>& ties) {
    Job job{bodies, ties, {}, {}, {}, {}, {}, {}, {}, {}};
    for (const auto& body : bodies)
        job.mountFromBody.emplace_back(body.mountFromCamera.value_or(Matrix3d::Identity()));
    const size_t count = ties.size();
    job.inverse_m.assign(count, 0);
    job.usable.assign(count, 0);
    job.has_distance.assign(count, 0);
    job.residual.resize(count);
    job.residual_px.assign(count, kInfinity);
    for (size_t t = 0; t < count; ++t) {
        const auto& tie = ties[t];
        const auto &a = bodies[size_t(tie.a.body)], &b = bodies[size_t(tie.b.body)];
        job.sigma_px.push_back(std::max(tie.sigma_px, kLeastSigma_px));
        if (!a.mountFromCamera || !b.mountFromCamera || tie.a.body == tie.b.body) continue;
        job.usable[t] = 1;
        RayResidual& residual = job.residual[t];
        residual.ray_a = tie.a.ray;
        residual.ray_b = tie.b.ray;
        residual.across = tie.b.ray.unitOrthogonal();
        residual.up = tie.b.ray.cross(residual.across);
        residual.apart_m = Vector3d::Zero();
        if (a.pupil_m && b.pupil_m) residual.apart_m = *a.pupil_m - *b.pupil_m;
        job.has_distance[t] = residual.apart_m.norm() > kApart_m;
    }
    job.inlier = job.usable;
    return job;
}

// The body with most ties of each connected part stays while the rest is solved.
struct Parts {
    std::vector<int> part, anchor, ties;
};

Parts findParts(const Job& job) {
    const int count = int(job.bodies.size());
    Parts parts;
    parts.part.resize(size_t(count));
    parts.ties.assign(size_t(count), 0);
    for (int i = 0; i < count; ++i) parts.part[size_t(i)] = i;
    for (bool changed = true; changed;) {
        changed = false;
        for (size_t t = 0; t < job.ties.size(); ++t) {
            if (!job.inlier[t]) continue;
            int &a = parts.part[size_t(job.ties[t].a.body)],
                &b = parts.part[size_t(job.ties[t].b.body)];
            changed = changed || a != b;
            a = b = std::min(a, b);
        }
    }
    for (size_t t = 0; t < job.ties.size(); ++t) {
        if (!job.inlier[t]) continue;
        ++parts.ties[size_t(job.ties[t].a.body)];
        ++parts.ties[size_t(job.ties[t].b.body)];
    }
    for (int root = 0; root < count; ++root) {
        int best = -1;
        for (int i = 0; i < count; ++i)
            if (parts.part[size_t(i)] == root && parts.ties[size_t(i)] > 0 &&
                (best < 0 || parts.ties[size_t(i)] > parts.ties[size_t(best)]))
                best = i;
        if (best >= 0) parts.anchor.push_back(best);
    }
    for (int i = 0; i < count; ++i)
        if (parts.ties[size_t(i)] == 0) parts.part[size_t(i)] = -1;
    return parts;
}

// The part of a residual that no distance can change, alone: what is left of a tie when its own
// distance has been solved for.
RayResidual acrossParallax(Job& job, size_t t, RayResidual residual) {
    const auto& inBFromMount = job.mountFromBody[size_t(job.ties[t].b.body)].conjugate();
    const Vector3d shift = inBFromMount * residual.apart_m;
    const double x = shift.dot(residual.across), y = shift.dot(residual.up);
    const double length = std::hypot(x, y);
    if (length < kApart_m) return residual;
    residual.across = (-y * residual.across + x * residual.up) / length;
    residual.up = Vector3d::Zero();
    return residual;
}

void build(Job& job, const Parts& parts, double loss_sigmas, bool distances_vary,
           ceres::Problem& problem) {
    auto* loss = new ceres::CauchyLoss(loss_sigmas);
    ceres::LossFunction* none = nullptr;
    for (size_t t = 0; t < job.ties.size(); ++t) {
        if (!job.inlier[t]) continue;
        RayResidual residual = job.residual[t];
        residual.weight = job.ties[t].b.px_per_rad / job.sigma_px[t];
        if (job.has_distance[t] && !distances_vary) residual = acrossParallax(job, t, residual);
        double* inverse = &job.inverse_m[t];
        problem.AddResidualBlock(
            new ceres::AutoDiffCostFunction<RayResidual, 2, 4, 4, 1>(new RayResidual(residual)),
            loss, job.rotationOf(job.ties[t].a.body), job.rotationOf(job.ties[t].b.body), inverse);
        if (job.has_distance[t] && distances_vary)
            problem.AddResidualBlock(
                new ceres::AutoDiffCostFunction<InversePrior, 1, 1>(new InversePrior), none,
                inverse);
        else
            problem.SetParameterBlockConstant(inverse);
    }
    if (problem.NumResidualBlocks() == 0) {
        delete loss;
        return;
    }
    auto* quaternion = new ceres::EigenQuaternionManifold;
    bool used = false;
    for (size_t i = 0; i < job.bodies.size(); ++i)
        if (problem.HasParameterBlock(job.rotationOf(int(i)))) {
            problem.SetManifold(job.rotationOf(int(i)), quaternion);
            used = true;
        }
    if (!used) delete quaternion;
    for (const int body : parts.anchor) problem.SetParameterBlockConstant(job.rotationOf(body));
}

bool minimise(Job& job, double loss_sigmas) {
    ceres::Problem problem;
    build(job, findParts(job), loss_sigmas, true, problem);
    if (problem.NumResidualBlocks() == 0) return false;
    ceres::Solver::Options options;
    // The distances, thousands of single numbers that know nothing of each other, are eliminated
    // first.
    options.linear_solver_type = ceres::SPARSE_SCHUR;
    auto* ordering = new ceres::ParameterBlockOrdering;
    for (size_t t = 0; t < job.ties.size(); ++t)
        if (problem.HasParameterBlock(&job.inverse_m[t]))
            ordering->AddElementToGroup(&job.inverse_m[t], 0);
    for (size_t i = 0; i < job.bodies.size(); ++i)
        if (problem.HasParameterBlock(job.rotationOf(int(i))))
            ordering->AddElementToGroup(job.rotationOf(int(i)), 1);
    options.linear_solver_ordering.reset(ordering);
    options.max_num_iterations = 100;
    options.function_tolerance = 1e-12;
    options.parameter_tolerance = 1e-12;
    options.gradient_tolerance = 1e-13;
    options.logging_type = ceres::SILENT;
    options.num_threads = 1;  // the same sums in the same order on any machine
    ceres::Solver::Summary summary;
    ceres::Solve(options, &problem, &summary);
    return summary.IsSolutionUsable();
}

// Residuals, and which ties are in; true when that changed.
bool measure(Job& job, double outlier_px) {
    bool changed = false;
    for (size_t t = 0; t < job.ties.size(); ++t) {
        if (!job.usable[t]) continue;
        double off[2];
        RayResidual residual = job.residual[t];
        residual.weight = job.ties[t].b.px_per_rad;
        residual(job.rotationOf(job.ties[t].a.body), job.rotationOf(job.ties[t].b.body),
                 &job.inverse_m[t], off);
        job.residual_px[t] = std::hypot(off[0], off[1]);
        // What lies behind infinity lies nowhere: it moved, or is another thing.
        const double focal_apart = job.residual[t].apart_m.norm() * job.ties[t].b.px_per_rad;
        const bool beyond = job.has_distance[t] && -job.inverse_m[t] * focal_apart > outlier_px;
        const char in = job.residual_px[t] <= outlier_px && !beyond;
        changed = changed || in != job.inlier[t];
        job.inlier[t] = in;
    }
    return changed;
}

// What a good tie is off by along one axis: the median length over that of Rayleigh's
// distribution.
double typicalAxis(const Job& job) {
    std::vector<double> lengths;
    for (size_t t = 0; t < job.ties.size(); ++t)
        if (job.inlier[t]) lengths.push_back(job.residual_px[t]);
    return lengths.empty() ? 0 : calib::median(lengths) / 1.1774;
}

void reportSigma(Job& job, MountBundle& result) {
    const Parts parts = findParts(job);
    ceres::Problem problem;
    build(job, parts, 3, false, problem);
    result.sigma_deg.assign(job.bodies.size(), kInfinity);
    if (problem.NumResidualBlocks() == 0) return;
    std::vector<double*> rotations;
    for (size_t i = 0; i < job.bodies.size(); ++i)
        rotations.push_back(parts.ties[i] > 0 ? job.rotationOf(int(i)) : nullptr);
    const FreeNetwork network = freeNetwork(problem, rotations, parts.part, {});
    for (size_t i = 0; i < job.bodies.size() && i < network.sigma_rad.size(); ++i)
        result.sigma_deg[i] = network.sigma_rad[i] * calib::kDegPerRad;
}

}  // namespace

MountBundle adjustMount(const std::vector<MountBody>& bodies, const std::vector<MountTie>& ties) {
    Job job = prepare(bodies, ties);
    MountBundle result;
    // Far from the end first, with ties taken at their word and far ones hardly heard; then what
    // they are off by says how much each is worth.
    result.usable = minimise(job, 10);
    measure(job, kInfinity);
    for (int round = 0; round < kRounds && result.usable; ++round) {
        const double typical = typicalAxis(job);
        for (size_t t = 0; t < ties.size(); ++t)
            job.sigma_px[t] = std::max(std::max(ties[t].sigma_px, kLeastSigma_px), typical);
        const bool changed = measure(job, std::max(kLeastOutlier_px, kOutlierSigmas * typical));
        if (round > 0 && !changed) break;
        result.usable = minimise(job, 3);
        measure(job, std::max(kLeastOutlier_px, kOutlierSigmas * typicalAxis(job)));
    }
    result.mountFromCamera.resize(bodies.size());
    for (size_t i = 0; i < bodies.size(); ++i)
        if (bodies[i].mountFromCamera)
            result.mountFromCamera[i] = job.mountFromBody[i].normalized().toRotationMatrix();
    result.inlier = job.inlier;
    result.residual_px = job.residual_px;
    double sum = 0, count = 0;
    for (size_t t = 0; t < ties.size(); ++t) {
        result.inverse_m.push_back(job.has_distance[t] ? std::optional(job.inverse_m[t])
                                                       : std::nullopt);
        if (!job.inlier[t]) continue;
        sum += job.residual_px[t] * job.residual_px[t];
        ++count;
    }
    result.rms_px = count > 0 ? std::sqrt(sum / count) : 0;
    if (result.usable) reportSigma(job, result);
    return result;
}

}  // namespace plateloom::stitch
