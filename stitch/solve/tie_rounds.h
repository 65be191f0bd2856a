// The rounds of the solve: ties from features, then from the pixels themselves, each followed by a
// bundle adjustment.
#pragma once

#include <vector>

#include "stitch/job/stage_clock.h"
#include "stitch/plates/cameras.h"
#include "stitch/plates/light_store.h"
#include "stitch/solve/bundle.h"
#include "stitch/ties/features.h"
#include "stitch/ties/solve_memory.h"

namespace plateloom::stitch {

/// Enough ties of one pair for a rough round.
constexpr int kRoughTies = 80;

/// Ties with the bundle adjustment's verdict on them.
struct TieRound {
    std::vector<Tie> ties;  ///< inliers
    std::vector<double> residual_px;
    std::vector<Tie> refused;                        ///< outliers
    std::vector<double> sigma_deg, local_sigma_deg;  ///< see BundleResult
    double rms_px = 0;
    /// Typical length of a residual, robust: what a good tie is off by along each axis.
    double typical_px = 0;
    bool usable = false;
};

/// Of each pair's ties (which stand together) at most `most`, evenly from first to last: more would
/// slow a rough round down and say nothing new.
[[nodiscard]] std::vector<Tie> thinned(const std::vector<Tie>& ties, int most);

/// Matches features again in every pair that overlaps by what is solved so far, whether it was
/// tried before or not, within `radius_px`.
[[nodiscard]] std::vector<Tie> guidedTies(const Cameras& cameras,
                                          const std::vector<PlateFeatures>& features,
                                          double radius_px);

/// Registers patches in every pair that overlaps, at full resolution. Pairs that `memory` knows are
/// taken from it.
[[nodiscard]] std::vector<Tie> registeredTies(const Cameras& cameras, LightStore& lights,
                                              double search_px, StageClock& clock,
                                              SolveMemory* memory = nullptr);

/// Bundle adjustment that updates the cameras. Where ties are off by more than they claim (the
/// entrance pupil wandered, things moved) the claims are widened by as much; what is far outside
/// that is removed, and so is a pair whose ties mostly are.
struct RoundSettings {
    int radial_terms = 0;
    bool solve_axis = false;  ///< and breathing
    bool refocus = false;     ///< see BundleSettings
    double loss_px = 1;       ///< of the first pass; the second takes it from the residuals
    double least_px = 1;      ///< no tie nearer than this is an outlier
    bool last = false;        ///< to the last digit, with uncertainties
};
[[nodiscard]] TieRound adjustRound(Cameras& cameras, std::vector<Tie> ties,
                                   const RoundSettings& settings);

}  // namespace plateloom::stitch
