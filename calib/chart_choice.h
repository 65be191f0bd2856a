// How many terms of the lens the pictures support: models of growing freedom, each scored on
// pictures that took no part in its solve.
//
// A picture is left out, the rest solved, the left-out board's pose found from its points alone;
// what then remains between its points and the prediction is the held-out error. Of all models, the
// one with the fewest free numbers is taken that is not worse than the best by more than one
// standard error of their difference, picture by picture. Source: L. Breiman et al.,
// Classification and Regression Trees (1984), section 3.4.3 (the one-standard-error rule); here the
// differences are paired, as every model is tried on the same pictures.
#pragma once

#include <functional>
#include <vector>

#include "calib/chart_solve.h"

namespace plateloom::calib {

struct HeldOut {
    std::vector<double> mean_square_px;  ///< one a view
    double rms_px = 0;                   ///< over the views; infinite when a solve failed
};

/// Whether `a`, the simpler of the two, is not worse than `best` by more than one standard error
/// of their difference, or by no more than a hundredth. Of the same views.
[[nodiscard]] bool isAsGood(const HeldOut& a, const HeldOut& best);

struct ScoredModel {
    ChartModel model;
    HeldOut held_out;
};

struct ChartChoice {
    ChartFit fit;  ///< of the chosen model on all views
    HeldOut held_out;
    std::vector<ScoredModel> tried;  ///< in the order they were tried
    /// One sigma from the spread of the solves with pictures left out (jackknife); F, centre.
    double focal_jackknife_mm = 0;
    Vector2d centre_jackknife_mm = Vector2d::Zero();
};

struct ChoiceSettings {
    ChartSettings solve;
    int most_folds = 13;      ///< fewer than the views: several are left out at a time
    bool board_shape = true;  ///< may the board be found bent
    /// Terms above the line alone: between two such lenses of a table the recorded place goes
    /// evenly when the coefficients do, which fractions don't promise.
    bool polynomial = false;
    /// Runs `body(0) .. body(count - 1)`, in any order, maybe at once.
    std::function<void(int count, const std::function<void(int)>& body)> forEach;
};

/// Leaves each view out once (in `most_folds` groups).
[[nodiscard]] HeldOut scoreHeldOut(const ChartBoard& board, const std::vector<ChartView>& views,
                                   const Sensor& sensor, const ChartFit& fit,
                                   const ChoiceSettings& settings,
                                   std::vector<ChartFit>* fold_fits = nullptr);

/// A model that was chosen elsewhere: its fit on all views, its held-out error, its sigmas.
[[nodiscard]] ChartChoice judgeModel(const ChartBoard& board, const std::vector<ChartView>& views,
                                     const Sensor& sensor, const ChartModel& model,
                                     const ChartFit& start, const ChoiceSettings& settings);

/// `start` from startChart. Needs three views at least.
[[nodiscard]] ChartChoice chooseModel(const ChartBoard& board, const std::vector<ChartView>& views,
                                      const Sensor& sensor, const ChartFit& start,
                                      const ChoiceSettings& settings);

}  // namespace plateloom::calib
