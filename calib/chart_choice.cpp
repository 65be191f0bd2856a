#include "calib/chart_choice.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace plateloom::calib {

namespace {

constexpr double kUnscored = std::numeric_limits<double>::infinity();

// Radial terms above and below the line, from few to many. A lone k2 says what k1 says.
constexpr std::pair<int, int> kRadials[] = {{0, 0}, {1, 0}, {2, 0}, {1, 1},
                                            {3, 0}, {2, 1}, {2, 2}, {3, 3}};

struct Ladder {
    const ChartBoard& board;
    const std::vector<ChartView>& views;
    const Sensor& sensor;
    const ChoiceSettings& settings;
    std::vector<ScoredModel> tried;
    std::vector<ChartFit> fits;  // one a tried model

    [[nodiscard]] const ChartFit* fitOf(const ChartModel& model) const {
        for (size_t i = 0; i < tried.size(); ++i)
            if (tried[i].model == model && fits[i].usable) return &fits[i];
        return nullptr;
    }

    // Every model starts from the fit of the one that it grew out of.
    void consider(const ChartModel& model, const ChartFit& start) {
        for (const auto& known : tried)
            if (known.model == model || isHopeless(known, model)) return;
        ChartFit fit = fitChart(board, views, sensor, model, start, settings.solve);
        HeldOut score;
        score.rms_px = kUnscored;
        if (fit.usable && !faultOf(fit.lens, sensor))
            score = scoreHeldOut(board, views, sensor, fit, settings);
        tried.push_back({model, score});
        fits.push_back(std::move(fit));
    }

    // Radial terms that were far off their like when only the axis was free besides stay so; a held
    // axis likewise.
    [[nodiscard]] bool isHopeless(const ScoredModel& known, const ChartModel& model) const {
        constexpr double kFarOff = 1.5;
        if (known.model.shape != ShapeTerms::flat) return false;
        if (known.model.centre == CentreTerms::none)
            return model.centre == CentreTerms::none &&
                   known.held_out.rms_px > kFarOff * tried[chosen()].held_out.rms_px;
        if (known.model.centre != CentreTerms::axis || known.model.above != model.above ||
            known.model.below != model.below)
            return false;
        double best = kUnscored;
        for (const auto& other : tried)
            if (other.model.centre == CentreTerms::axis && other.model.shape == ShapeTerms::flat)
                best = std::min(best, other.held_out.rms_px);
        return known.held_out.rms_px > kFarOff * best;
    }

    // The simplest within one standard error of the best.
    [[nodiscard]] size_t chosen() const {
        size_t best = 0;
        for (size_t i = 1; i < tried.size(); ++i)
            if (tried[i].held_out.rms_px < tried[best].held_out.rms_px) best = i;
        size_t pick = best;
        for (size_t i = 0; i < tried.size(); ++i) {
            if (!std::isfinite(tried[i].held_out.rms_px)) continue;
            const bool simpler = costOf(tried[i].model) < costOf(tried[pick].model);
            if (simpler && isAsGood(tried[i].held_out, tried[best].held_out)) pick = i;
        }
        return pick;
    }

    // Of as many numbers, a polynomial goes before a fraction, which may have poles.
    [[nodiscard]] static int costOf(const ChartModel& model) {
        return 10 * model.freeNumbers() + model.below;
    }
};

bool isSupported(ShapeTerms shape, const ChartBoard& board, size_t views, bool allowed) {
    if (shape == ShapeTerms::flat) return true;
    // A bend is told from the lens by boards seen from several sides, each point known for itself;
    // a second-degree bend stays what it is when the board is turned by half.
    if (!allowed || views < 6 || board.turns > 2) return false;
    return shape != ShapeTerms::curled || board.turns == 1;
}

}  // namespace

bool isAsGood(const HeldOut& a, const HeldOut& best) {
    const auto n = double(best.mean_square_px.size());
    double mean = 0, square = 0;
    for (size_t i = 0; i < best.mean_square_px.size(); ++i) {
        const double worse = a.mean_square_px[i] - best.mean_square_px[i];
        mean += worse / n;
        square += worse * worse / n;
    }
    // Less than a hundredth of the error is nothing that anyone will see.
    if (a.rms_px < 1.01 * best.rms_px) return true;
    const double variance = std::max(0.0, square - mean * mean);
    return mean <= std::sqrt(variance / std::max(1.0, n - 1));
}

HeldOut scoreHeldOut(const ChartBoard& board, const std::vector<ChartView>& views,
                     const Sensor& sensor, const ChartFit& fit, const ChoiceSettings& settings,
                     std::vector<ChartFit>* fold_fits) {
    const int folds = std::min(int(views.size()), settings.most_folds);
    HeldOut out;
    out.mean_square_px.assign(views.size(), kUnscored);
    std::vector<ChartFit> solved(static_cast<size_t>(folds));
    const auto leaveOut = [&](int fold) {
        std::vector<ChartView> rest;
        ChartFit start = fit;
        start.poses.clear();
        for (size_t v = 0; v < views.size(); ++v) {
            if (int(v) % folds == fold) continue;
            rest.push_back(views[v]);
            start.poses.push_back(fit.poses[v]);
        }
        // Nearly there already: a fold moves the solution by a fraction of its uncertainty.
        ChartSettings solve = settings.solve;
        solve.sigmas = false;
        solve.most_steps = 12;
        solve.least_gain = 1e-4;
        ChartFit& without = solved[size_t(fold)];
        without = fitChart(board, rest, sensor, fit.model, start, solve);
        for (size_t v = size_t(fold); without.usable && v < views.size(); v += size_t(folds)) {
            const auto pose =
                fitPose(board, views[v], sensor, without, fit.poses[v], settings.solve.loss_px);
            if (pose.usable) out.mean_square_px[v] = pose.mean_square_px;
        }
    };
    if (settings.forEach)
        settings.forEach(folds, leaveOut);
    else
        for (int fold = 0; fold < folds; ++fold) leaveOut(fold);
    double sum = 0, count = 0;
    for (size_t v = 0; v < views.size(); ++v) {
        sum += out.mean_square_px[v] * double(views[v].point.size());
        count += double(views[v].point.size());
    }
    out.rms_px = std::sqrt(sum / count);
    if (fold_fits) *fold_fits = std::move(solved);
    return out;
}

ChartChoice judgeModel(const ChartBoard& board, const std::vector<ChartView>& views,
                       const Sensor& sensor, const ChartModel& model, const ChartFit& start,
                       const ChoiceSettings& settings) {
    ChartChoice out;
    ChartSettings last = settings.solve;
    last.sigmas = true;
    out.fit = fitChart(board, views, sensor, model, start, last);
    out.held_out.rms_px = kUnscored;
    out.held_out.mean_square_px.assign(views.size(), kUnscored);
    if (!out.fit.usable) return out;
    std::vector<ChartFit> folds;
    out.held_out = scoreHeldOut(board, views, sensor, out.fit, settings, &folds);
    std::erase_if(folds, [](const ChartFit& fold) { return !fold.usable; });
    if (folds.empty()) return out;
    const auto n = double(folds.size());
    double focal = 0;
    Vector2d centre = Vector2d::Zero();
    const auto centreOf = [](const ChartFit& fit) {
        return Vector2d(fit.lens.distortion_offset_mm + fit.lens.projection_offset_mm);
    };
    for (const auto& fold : folds) {
        focal += fold.lens.focal_mm / n;
        centre += centreOf(fold) / n;
    }
    double focal_square = 0;
    Vector2d centre_square = Vector2d::Zero();
    for (const auto& fold : folds) {
        focal_square += std::pow(fold.lens.focal_mm - focal, 2);
        centre_square += (centreOf(fold) - centre).cwiseAbs2();
    }
    out.focal_jackknife_mm = std::sqrt((n - 1) / n * focal_square);
    out.centre_jackknife_mm = ((n - 1) / n * centre_square).cwiseSqrt();
    return out;
}

ChartChoice chooseModel(const ChartBoard& board, const std::vector<ChartView>& views,
                        const Sensor& sensor, const ChartFit& start,
                        const ChoiceSettings& settings) {
    Ladder ladder{board, views, sensor, settings, {}, {}};
    ChartModel model = start.model;
    model.centre = CentreTerms::axis;
    // Round about the three kinds of freedom twice: a board's bend hides behind the lens's terms,
    // and the terms behind the bend.
    ChartFit from = start;
    const auto settle = [&] {
        const size_t at = ladder.chosen();
        model = ladder.tried[at].model;
        from = ladder.fits[at];
    };
    for (int round = 0; round < 2; ++round) {
        ChartFit rung = from;
        for (const auto& [above, below] : kRadials) {
            if (settings.polynomial && below > 0) continue;
            ChartModel next = model;
            next.above = above;
            next.below = below;
            ChartModel plain = next;
            plain.centre = CentreTerms::axis;
            plain.shape = ShapeTerms::flat;
            if (const auto* known = ladder.fitOf(plain)) rung = *known;
            ladder.consider(next, rung);
            if (const auto* known = ladder.fitOf(next)) rung = *known;
        }
        settle();
        for (const auto centre : {CentreTerms::none, CentreTerms::axis, CentreTerms::tangential,
                                  CentreTerms::distortion, CentreTerms::both}) {
            ChartModel next = model;
            next.centre = centre;
            ladder.consider(next, from);
        }
        settle();
        for (const auto shape : {ShapeTerms::flat, ShapeTerms::bent, ShapeTerms::bent_and_stretched,
                                 ShapeTerms::curled}) {
            if (!isSupported(shape, board, views.size(), settings.board_shape)) continue;
            ChartModel next = model;
            next.shape = shape;
            ladder.consider(next, from);
        }
        settle();
    }

    ChartChoice out = judgeModel(board, views, sensor, model, from, settings);
    out.tried = std::move(ladder.tried);
    return out;
}

}  // namespace plateloom::calib
