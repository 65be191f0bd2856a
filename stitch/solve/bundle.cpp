#include "stitch/solve/bundle.h"

#include <ceres/ceres.h>

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <limits>
#include <map>
#include <numeric>

#include "calib/angle.h"
#include "stitch/plates/upright_picture.h"
#include "stitch/solve/bundle_priors.h"
#include "stitch/solve/free_network.h"
#include "stitch/solve/tie_cost.h"

namespace plateloom::stitch {

namespace {

using calib::kRadPerDeg;
constexpr double kInfinity = std::numeric_limits<double>::infinity();

// No tie is trusted to better than this: it keeps a few very sharp ones from ruling the rest.
constexpr double kLeastSigma_px = 0.03;

// What lenses are like, for groups whose distortion is unknown: bent by some per cent in the
// corners, most of it by the first terms, and decentred by a hundredth of that (common practice).
// It only matters where the ties hardly say.
constexpr LensTerms kTermSigma{0, 0.2, 0.1, 0.03, 0, 0, 0.002, 0.002, 0, 0, 5};
// How far the optical axis stands from the sensor's middle, as a share of its width.
constexpr double kAxisSigma = 0.005;

// Removing outliers changes the solution, which changes the outliers: a few rounds settle it.
constexpr int kRounds = 6;

// Connected parts of the inlying ties; in each, the plate that stays while the rest is solved.
struct Parts {
    std::vector<int> part;    // of each plate, -1 when it has no tie or poses hold it
    std::vector<int> anchor;  // plates held
    std::vector<int> ties;    // inlying ties of each plate
};

// Whether the ties may set right a table's geometry, and with which terms.
bool moves(const Plate& plate) {
    return plate.distortion_known && plate.geometry_sigma.axis_mm > 0;
}
constexpr std::array<LensTerm, 5> kTableTerms{kC1, kC2, kC3, kP1, kP2};

struct Adjustment {
    const std::vector<Plate>& plates;
    const std::vector<Tie>& ties;
    const BundleSettings& settings;

    std::vector<char> placed;
    std::vector<Eigen::Quaterniond> worldFromCamera;
    std::vector<LensTerms> lens;               // of each group
    std::vector<double> breathing;             // of each plate
    std::vector<std::vector<int>> free_terms;  // which of them are solved
    std::vector<TieResidual> residual;         // one a tie
    std::vector<char> usable, inlier;
    std::vector<double> residual_px;
    /// Priors count this many times more than they say: see reportUncertainty.
    double prior_weight = 1;

    double* rotationOf(int plate) { return worldFromCamera[plate].coeffs().data(); }
    [[nodiscard]] bool breathes(int plate) const { return breathingSigma(plate) > 0; }
    [[nodiscard]] double breathingSigma(int plate) const {
        constexpr double kReading = 0.04;
        const Plate& one = plates[size_t(plate)];
        if (!one.distortion_known) return std::min(settings.breathing_sigma, one.focal_sigma);
        if (!settings.refocus || !one.refocused) return 0;
        return kReading / Plate::kRefocused *
               std::abs(one.refocused->focal_mm / one.lens.focal_mm - 1);
    }
    double* lensOf(int plate) { return lens[plates[plate].lens_group].data(); }
};

// The one place where a tie's ends become flat positions: constant, whatever the solver does.
void flattenTies(Adjustment& job) {
    std::vector<calib::LensMap> maps, refocused;
    std::vector<std::array<calib::LensMap, kTableTerms.size()>> bent;  // by a step of each
    constexpr double kStep = 1e-4;
    for (const auto& plate : job.plates) {
        maps.emplace_back(plate.lens, plate.sensor);
        refocused.emplace_back(plate.refocused.value_or(plate.lens), plate.sensor);
        auto& by_term = bent.emplace_back();
        for (size_t i = 0; moves(plate) && i < kTableTerms.size(); ++i) {
            LensTerms step{};
            step[kTableTerms[i]] = kStep;
            by_term[i] =
                calib::LensMap(withTermsAdded(plate.lens, step, plate.sensor), plate.sensor);
        }
    }
    const auto flatten = [&](int p, const Vector2d& px) -> std::optional<FlatPoint> {
        const Plate& plate = job.plates[p];
        const auto recorded_mm = calib::mmFromPixel(plate.sensor, px);
        const auto mm = maps[p].flatFromRecorded_mm(recorded_mm);
        if (!mm) return std::nullopt;
        FlatPoint point;
        // In the axes of its lens group.
        point.mm = turnedBack(*mm - plate.lens.projection_offset_mm, plate.quarter_turn);
        point.focal_mm = plate.lens.focal_mm;
        point.half_diagonal_mm = plate.sensor.halfDiagonal_mm();
        point.px_per_mm = {1 / plate.sensor.mmPerPixelX(), 1 / plate.sensor.mmPerPixelY()};
        if (plate.quarter_turn != 0) std::swap(point.px_per_mm.x(), point.px_per_mm.y());
        point.bends = !plate.distortion_known;
        point.known_breathing = plate.known_breathing;
        Eigen::Matrix<double, 2, kTableTerms.size()> by_term;
        for (size_t i = 0; moves(plate) && i < kTableTerms.size(); ++i) {
            const auto moved = bent[size_t(p)][i].flatFromRecorded_mm(recorded_mm);
            if (!moved) return std::nullopt;
            by_term.col(Eigen::Index(i)) = (*moved - *mm) / kStep;
        }
        if (moves(plate)) {
            point.by_radial_mm = by_term.leftCols<3>();
            point.by_tangential_mm = by_term.rightCols<2>();
        }
        if (plate.refocused && job.settings.refocus) {
            const auto nearer_mm = refocused[p].flatFromRecorded_mm(recorded_mm);
            if (!nearer_mm) return std::nullopt;
            point.by_breathing_mm =
                (*nearer_mm - plate.refocused->projection_offset_mm - point.mm) /
                (plate.refocused->focal_mm / plate.lens.focal_mm - 1);
        }
        return point;
    };
    job.residual.resize(job.ties.size());
    job.usable.assign(job.ties.size(), 0);
    for (size_t t = 0; t < job.ties.size(); ++t) {
        const Tie& tie = job.ties[t];
        if (!job.placed[tie.a] || !job.placed[tie.b]) continue;
        const auto a = flatten(tie.a, tie.px_a), b = flatten(tie.b, tie.px_b);
        if (!a || !b) continue;
        job.residual[t].a = *a;
        job.residual[t].b = *b;
        job.residual[t].weight = 1 / std::max(tie.sigma_px, kLeastSigma_px);
        job.usable[t] = 1;
    }
    job.inlier = job.usable;
    job.residual_px.assign(job.ties.size(), kInfinity);
}

void findFreeTerms(Adjustment& job) {
    constexpr double kBreathes = 1e-4;
    std::vector<char> used(job.lens.size(), 0), bends(job.lens.size(), 0),
        breathes(job.lens.size(), 0);
    std::vector<calib::GeometrySigma> table(job.lens.size());
    for (size_t t = 0; t < job.ties.size(); ++t) {
        if (!job.usable[t]) continue;
        for (const int p : {job.ties[t].a, job.ties[t].b}) {
            used[job.plates[p].lens_group] = 1;
            if (!job.plates[p].distortion_known) bends[job.plates[p].lens_group] = 1;
            if (std::abs(job.plates[p].known_breathing - 1) > kBreathes)
                breathes[job.plates[p].lens_group] = 1;
            if (moves(job.plates[p]))
                table[job.plates[p].lens_group] = job.plates[p].geometry_sigma;
        }
    }
    job.free_terms.assign(job.lens.size(), {});
    for (size_t g = 0; g < job.lens.size(); ++g) {
        auto& free = job.free_terms[g];
        if (used[g] && job.settings.solve_focal) free.push_back(kScale);
        if (job.settings.solve_table_geometry && table[g].axis_mm > 0) {
            free.insert(free.end(), {kAxisX, kAxisY});
            if (table[g].tangential_per_mm > 0) free.insert(free.end(), {kP1, kP2});
            if (table[g].radial_mm.front() > 0) free.insert(free.end(), {kC1, kC2, kC3});
        }
        if (!bends[g]) continue;
        for (int term = 0; term < std::min(3, job.settings.radial_terms); ++term)
            free.push_back(kC1 + term);
        if (job.settings.solve_axis)
            free.insert(free.end(), {kAxisX, kAxisY, kP1, kP2, kCentreX, kCentreY});
        if (job.settings.breathing_sigma > 0 || (job.settings.solve_axis && breathes[g]))
            free.push_back(kC1ByBreathing);
    }
}

Adjustment prepare(const std::vector<Plate>& plates, const std::vector<Tie>& ties,
                   const std::vector<std::optional<Matrix3d>>& start,
                   const std::vector<LensCorrection>& correction, const BundleSettings& settings) {
    Adjustment job{plates, ties, settings, {}, {}, {}, {}, {}, {}, {}, {}, {}};
    size_t groups = correction.size();
    for (const auto& plate : plates) {
        assert(plate.lens.focal_mm > 0);
        groups = std::max(groups, size_t(plate.lens_group) + 1);
    }
    job.lens.assign(groups, kLensAsKnown);
    for (size_t g = 0; g < correction.size(); ++g) job.lens[g] = correction[g].term;
    job.breathing.assign(plates.size(), 1);
    job.placed.assign(plates.size(), 0);
    job.worldFromCamera.assign(plates.size(), Eigen::Quaterniond::Identity());
    for (size_t p = 0; p < plates.size(); ++p) {
        if (!start[p]) continue;
        job.placed[p] = 1;
        job.worldFromCamera[p] =
            Eigen::Quaterniond(*start[p] * uprightFromRecorded(plates[p].quarter_turn))
                .normalized();
    }
    flattenTies(job);
    findFreeTerms(job);
    return job;
}

void addTies(Adjustment& job, ceres::Problem& problem) {
    std::map<double, ceres::LossFunction*> losses;  // shared; the problem owns them
    for (size_t t = 0; t < job.ties.size(); ++t) {
        if (!job.inlier[t]) continue;
        TieResidual& tie = job.residual[t];
        auto& loss = losses[tie.weight];
        if (!loss) loss = new ceres::CauchyLoss(job.settings.loss_px * tie.weight);
        const int a = job.ties[t].a, b = job.ties[t].b;
        double *qa = job.rotationOf(a), *qb = job.rotationOf(b);
        double *la = job.lensOf(a), *lb = job.lensOf(b);
        double *fa = &job.breathing[a], *fb = &job.breathing[b];
        if (job.free_terms[job.plates[a].lens_group].empty() &&
            job.free_terms[job.plates[b].lens_group].empty() && !job.breathes(a) &&
            !job.breathes(b)) {
            std::copy(la, la + kLensTerms, tie.lens_a.begin());
            std::copy(lb, lb + kLensTerms, tie.lens_b.begin());
            problem.AddResidualBlock(tieWithLensFixed(tie), loss, qa, qb);
        } else if (la == lb) {
            problem.AddResidualBlock(tieWithOneLens(tie), loss, qa, qb, la, fa, fb);
        } else {
            problem.AddResidualBlock(tieWithTwoLenses(tie), loss, qa, qb, la, lb, fa, fb);
        }
    }
}

void addLensPriors(Adjustment& job, ceres::Problem& problem) {
    std::vector<double> focal_sigma(job.lens.size(), kInfinity), width_mm(job.lens.size(), 0),
        half_diagonal_mm(job.lens.size(), 0);
    std::vector<calib::GeometrySigma> table(job.lens.size());
    for (const auto& plate : job.plates) {
        const int g = plate.lens_group;
        focal_sigma[g] = std::min(focal_sigma[g], plate.focal_sigma);
        width_mm[g] = std::max(width_mm[g], plate.sensor.width_mm);
        half_diagonal_mm[g] = std::max(half_diagonal_mm[g], plate.sensor.halfDiagonal_mm());
        if (moves(plate)) table[g] = plate.geometry_sigma;
    }
    for (size_t g = 0; g < job.lens.size(); ++g) {
        double* lens = job.lens[g].data();
        if (!problem.HasParameterBlock(lens)) continue;
        const auto& terms = job.free_terms[g];
        LensTerms sigma = kTermSigma;
        sigma[kScale] = std::max(focal_sigma[g], 1e-6);
        for (const int term : {kAxisX, kAxisY, kCentreX, kCentreY})
            sigma[size_t(term)] = kAxisSigma * width_mm[g];
        if (table[g].axis_mm > 0) {
            sigma[kAxisX] = sigma[kAxisY] = table[g].axis_mm;
            sigma[kP1] = sigma[kP2] = table[g].tangential_per_mm * half_diagonal_mm[g];
            if (std::count(terms.begin(), terms.end(), kC1)) {
                auto radial_mm = table[g].radial_mm;
                for (double& sigma_mm : radial_mm) sigma_mm /= job.prior_weight;
                problem.AddResidualBlock(RadialPrior::create(half_diagonal_mm[g], radial_mm),
                                         nullptr, lens);
            }
        }
        std::vector<int> held;
        for (int term = 0; term < kLensTerms; ++term) {
            if (std::count(terms.begin(), terms.end(), term) == 0)
                held.push_back(term);
            else
                problem.AddResidualBlock(
                    TermPrior<kLensTerms>::create(term, kLensAsKnown[size_t(term)],
                                                  sigma[size_t(term)] / job.prior_weight),
                    nullptr, lens);
        }
        if (held.size() == kLensTerms)
            problem.SetParameterBlockConstant(lens);
        else if (!held.empty())
            problem.SetManifold(lens, new ceres::SubsetManifold(kLensTerms, held));
    }
    for (size_t p = 0; p < job.plates.size(); ++p) {
        double* breathing = &job.breathing[p];
        if (!problem.HasParameterBlock(breathing)) continue;
        if (job.breathes(int(p)))
            problem.AddResidualBlock(
                TermPrior<1>::create(0, 1, job.breathingSigma(int(p)) / job.prior_weight), nullptr,
                breathing);
        else
            problem.SetParameterBlockConstant(breathing);
    }
}

void addPosePriors(Adjustment& job, ceres::Problem& problem) {
    if (job.settings.pose_sigma_deg <= 0) return;
    for (size_t p = 0; p < job.plates.size(); ++p) {
        if (!job.plates[p].pose || !problem.HasParameterBlock(job.rotationOf(int(p)))) continue;
        problem.AddResidualBlock(
            PosePrior::create(calib::worldFromCamera(*job.plates[p].pose) *
                                  uprightFromRecorded(job.plates[p].quarter_turn),
                              job.settings.pose_sigma_deg * kRadPerDeg / job.prior_weight),
            new ceres::HuberLoss(3.0), job.rotationOf(int(p)));
    }
}

Parts findParts(const Adjustment& job) {
    const int plates = int(job.plates.size());
    std::vector<int> parent(plates);
    std::iota(parent.begin(), parent.end(), 0);
    const auto root = [&](int p) {
        while (parent[p] != p) p = parent[p] = parent[parent[p]];
        return p;
    };
    Parts parts;
    parts.ties.assign(plates, 0);
    for (size_t t = 0; t < job.ties.size(); ++t) {
        if (!job.inlier[t]) continue;
        ++parts.ties[job.ties[t].a];
        ++parts.ties[job.ties[t].b];
        parent[root(job.ties[t].a)] = root(job.ties[t].b);
    }
    std::vector<char> posed(plates, 0);
    std::map<int, int> best;
    parts.part.assign(plates, -1);
    for (int p = 0; p < plates; ++p) {
        if (parts.ties[p] == 0) continue;
        parts.part[p] = root(p);
        if (job.settings.pose_sigma_deg > 0 && job.plates[p].pose) posed[root(p)] = 1;
        const auto [at, fresh] = best.emplace(root(p), p);
        if (!fresh && parts.ties[p] > parts.ties[at->second]) at->second = p;
    }
    for (int& part : parts.part)
        if (part >= 0 && posed[part]) part = -1;
    for (const auto& [part, plate] : best)
        if (!posed[part]) parts.anchor.push_back(plate);
    return parts;
}

// Ties alone leave the whole free to turn: the best tied plate of each part is held.
void build(Adjustment& job, const Parts& parts, ceres::Problem& problem) {
    addTies(job, problem);
    if (problem.NumResidualBlocks() == 0) return;
    addLensPriors(job, problem);
    addPosePriors(job, problem);
    auto* quaternion = new ceres::EigenQuaternionManifold;  // shared; the problem owns it
    for (size_t p = 0; p < job.plates.size(); ++p)
        if (problem.HasParameterBlock(job.rotationOf(int(p))))
            problem.SetManifold(job.rotationOf(int(p)), quaternion);
    for (const int plate : parts.anchor) problem.SetParameterBlockConstant(job.rotationOf(plate));
}

ceres::Solver::Summary minimise(ceres::Problem& problem, double least_gain) {
    ceres::Solver::Options options;
    options.linear_solver_type = ceres::SPARSE_NORMAL_CHOLESKY;
    options.max_num_iterations = 60;
    options.function_tolerance = least_gain;
    options.parameter_tolerance = 1e-11;
    options.gradient_tolerance = 1e-12;
    options.logging_type = ceres::SILENT;
    // More threads would sum the same numbers in another order, and the last digits would change
    // from machine to machine.
    options.num_threads = 1;
    ceres::Solver::Summary summary;
    ceres::Solve(options, &problem, &summary);
    return summary;
}

// True when the set of inliers changed.
bool measure(Adjustment& job) {
    bool changed = false;
    for (size_t t = 0; t < job.ties.size(); ++t) {
        if (!job.usable[t]) continue;
        const Tie& tie = job.ties[t];
        double off[2];
        job.residual[t](job.rotationOf(tie.a), job.rotationOf(tie.b), job.lensOf(tie.a),
                        job.lensOf(tie.b), &job.breathing[tie.a], &job.breathing[tie.b], off);
        job.residual_px[t] = std::hypot(off[0], off[1]) / job.residual[t].weight;
        const char in =
            job.settings.outlier_px <= 0 || job.residual_px[t] <= job.settings.outlier_px;
        changed = changed || in != job.inlier[t];
        job.inlier[t] = in;
    }
    return changed;
}

// Variance of unit weight: what the residuals say about the sigmas that the ties came with.
double unitVariance(const Adjustment& job, int unknowns) {
    double sum = 0;
    int count = 0;
    for (size_t t = 0; t < job.ties.size(); ++t) {
        if (!job.inlier[t]) continue;
        sum += std::pow(job.residual_px[t] * job.residual[t].weight, 2);
        count += 2;
    }
    return sum / std::max(1, count - unknowns);
}

// The covariance is scaled by what the residuals say about the sigmas of the ties. The priors' own
// sigmas stand as they are: they count so much more here that the scale gives them back.
void reportUncertainty(Adjustment& job, BundleResult& result) {
    const Parts parts = findParts(job);
    int unknowns = 3 * int(std::count_if(parts.ties.begin(), parts.ties.end(),
                                         [](int count) { return count > 0; }) -
                           parts.anchor.size());
    for (const auto& terms : job.free_terms) unknowns += int(terms.size());
    for (size_t p = 0; p < job.plates.size(); ++p)
        unknowns += parts.ties[p] > 0 && job.breathes(int(p));
    // Ties that agree to the last digit (a plate and its copy) are no better than a hundredth of a
    // pixel all the same, which nothing that was ever recorded reaches.
    constexpr double kLeastScale = 0.1;
    const double scale = std::max(kLeastScale, std::sqrt(unitVariance(job, unknowns)));

    job.prior_weight = scale;
    ceres::Problem problem;
    build(job, parts, problem);
    job.prior_weight = 1;
    std::vector<double*> rotations, others;
    for (size_t p = 0; p < job.plates.size(); ++p)
        rotations.push_back(parts.ties[p] > 0 ? job.rotationOf(int(p)) : nullptr);
    for (auto& lens : job.lens) others.push_back(lens.data());
    for (double& breathing : job.breathing) others.push_back(&breathing);
    const FreeNetwork network = freeNetwork(problem, rotations, parts.part, others);

    for (const double sigma_rad : network.sigma_rad)
        result.sigma_deg.push_back(scale * sigma_rad / kRadPerDeg);
    for (const double sigma_rad : network.local_sigma_rad)
        result.local_sigma_deg.push_back(scale * sigma_rad / kRadPerDeg);
    for (size_t g = 0; g < job.lens.size(); ++g) {
        const auto& free = job.free_terms[g];
        const auto& covariance = network.other_covariance[g];
        for (Eigen::Index row = 0; row < covariance.rows(); ++row)
            for (Eigen::Index column = 0; column < covariance.cols(); ++column)
                result.correction[g].covariance(free[size_t(row)], free[size_t(column)]) =
                    scale * scale * covariance(row, column);
    }
}

void report(Adjustment& job, BundleResult& result) {
    result.worldFromCamera.resize(job.plates.size());
    for (size_t p = 0; p < job.plates.size(); ++p)
        if (job.placed[p])
            result.worldFromCamera[p] = job.worldFromCamera[p].normalized().toRotationMatrix() *
                                        uprightFromRecorded(job.plates[p].quarter_turn).transpose();
    for (const auto& lens : job.lens) result.correction.push_back({.term = lens});
    result.breathing = job.breathing;
    result.inlier = job.inlier;
    result.residual_px = job.residual_px;
    double sum = 0;
    int count = 0;
    for (size_t t = 0; t < job.ties.size(); ++t) {
        if (!job.inlier[t]) continue;
        sum += job.residual_px[t] * job.residual_px[t];
        ++count;
    }
    result.rms_px = count ? std::sqrt(sum / count) : 0;
}

}  // namespace

BundleResult bundleAdjust(const std::vector<Plate>& plates, const std::vector<Tie>& ties,
                          const std::vector<std::optional<Matrix3d>>& start,
                          const std::vector<LensCorrection>& start_correction,
                          const BundleSettings& settings) {
    Adjustment job = prepare(plates, ties, start, start_correction, settings);
    BundleResult result;
    for (int round = 0; round < kRounds; ++round) {
        ceres::Problem problem;
        build(job, findParts(job), problem);
        if (problem.NumResidualBlocks() == 0) {
            result.why = "no ties";
            break;
        }
        const auto summary = minimise(problem, settings.least_gain);
        result.usable = summary.IsSolutionUsable();
        result.why = summary.message;
        if (!measure(job) || !result.usable) break;
    }
    report(job, result);
    if (settings.covariance && result.usable) reportUncertainty(job, result);
    return result;
}

}  // namespace plateloom::stitch
