// Exposure: one gain per plate and channel, from the overlaps, in linear light.
//
// Each plate is reduced once to cells (light_cells.h). Where two plates see the same direction, the
// log ratio of their cells is a sample; a pair's ratio is the Tukey-biweight mean of its samples,
// so that whatever moved between the two has no say. All pairs together give the gains by weighted
// least squares, with the known exposures (T-stop, shutter, ISO, ND) as a weak prior that also
// holds plates which overlap nothing.
#pragma once

#include <array>
#include <optional>
#include <vector>

#include "stitch/compose/light_cells.h"
#include "stitch/plates/placed_plate.h"
#include "stitch/plates/plate_store.h"

namespace plateloom::stitch {

/// In the order of the plates.
struct ExposureBalance {
    std::vector<std::array<float, 3>> gains;
    /// One-sigma uncertainty of each gain against the mean of all, of the worst channel: from the
    /// samples' own spread and number, through the least squares.
    std::vector<double> sigma_stops;
};

/// `gain` in the plates is not read. `known_stops` is one a placed plate (more light is more
/// stops); a missing one counts as the others' mean. The geometric mean of the gains is 1 in each
/// channel: the whole neither drifts nor darkens.
[[nodiscard]] ExposureBalance balanceExposure(
    const std::vector<PlacedPlate>& plates, const std::vector<LightCells>& cells,
    const std::vector<std::optional<double>>& known_stops);
[[nodiscard]] ExposureBalance balanceExposure(
    const std::vector<PlacedPlate>& plates, PlateStore& store,
    const std::vector<std::optional<double>>& known_stops);

/// What one pair of overlapping cells gives: the log of (a / b) and how much it can be trusted.
struct RatioSample {
    double log_ratio = 0;
    double weight = 1;
};
/// Tukey-biweight mean of the samples (Beaton and Tukey 1974, c = 4.685, scale from the median
/// absolute deviation) and its variance: that of an M-estimate (Huber, Robust Statistics, 1981,
/// 6.3), widened as a variance estimated from so few samples has to be (Student's t). Fewer than 8
/// samples: nullopt.
struct Ratio {
    double log_ratio = 0, variance = 1;
};
[[nodiscard]] std::optional<Ratio> robustRatio(const std::vector<RatioSample>& samples);

}  // namespace plateloom::stitch
