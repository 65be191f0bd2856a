// A lens from pictures of a board: focal length, distortion, its centre, the board's pose in every
// picture and, where asked, the board's own shape, at once. Ceres, exact derivatives, robust loss;
// residuals in recorded pixels whichever way the distortion polynomial runs.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calib/chart.h"

namespace plateloom::calib {

struct ChartFit {
    bool usable = false;
    std::string why;  ///< when it is not usable: the solver's reason
    ChartModel model;
    Lens lens;
    BoardShape shape;
    std::vector<BoardPose> poses;  ///< one a view
    /// Recorded minus predicted, px, one a point of each view.
    std::vector<std::vector<Vector2d>> residual_px;
    double rms_px = 0;
    double noise_px = 0;  ///< of one coordinate, from the median: what outliers don't change

    /// One sigma, when asked for: from the covariance and the scatter of the residuals. Infinite
    /// where the pictures do not tell. `centre`: of the distortion, dC + dP.
    double focal_sigma_mm = 0;
    Vector2d axis_sigma_mm = Vector2d::Zero(), centre_sigma_mm = Vector2d::Zero();
    /// Of p1 and p2, mm^-1; of a distortion centre solved in their place or beside them, of what it
    /// is as such terms, together with them.
    Vector2d tangential_sigma = Vector2d::Zero();
    /// Of the distortion, toward the centre or away from it, at the heights kRadialHeights.
    std::array<double, 3> radial_sigma_mm{};
};

struct ChartSettings {
    /// Residuals beyond this weigh less and less; 0: all weigh the same. Recorded pixels.
    double loss_px = 1.0;
    bool sigmas = false;
    int most_steps = 100;
    /// Stop when a step lowers the cost by a smaller share than this.
    double least_gain = 1e-9;
    /// The optical axis (dP) where it is known from elsewhere: held there, whatever the model says.
    std::optional<Vector2d> axis_mm;
};

/// From nothing but the points: several focal lengths are tried. `nominal_focal_mm` is one of them.
[[nodiscard]] ChartFit startChart(const ChartBoard& board, const std::vector<ChartView>& views,
                                  const Sensor& sensor, DistortionDirection direction,
                                  std::optional<double> nominal_focal_mm);

/// Starts where `start` stands (poses as well; a fit of another model will do).
[[nodiscard]] ChartFit fitChart(const ChartBoard& board, const std::vector<ChartView>& views,
                                const Sensor& sensor, const ChartModel& model,
                                const ChartFit& start, const ChartSettings& settings);

/// A view whose picture took no part: lens and board as `fit` has them, the pose alone is solved.
struct PoseFit {
    bool usable = false;
    BoardPose pose;
    std::vector<Vector2d> residual_px;
    double mean_square_px = 0;  ///< of the residuals' lengths
};
[[nodiscard]] PoseFit fitPose(const ChartBoard& board, const ChartView& view, const Sensor& sensor,
                              const ChartFit& fit, const BoardPose& start, double loss_px);

/// Where the fit records this board point (mm, board axes, on its surface); nullopt where it can't.
[[nodiscard]] std::optional<Vector2d> recordedPoint(const ChartBoard& board, const Sensor& sensor,
                                                    const ChartFit& fit, const BoardPose& pose,
                                                    const Vector2d& point_mm,
                                                    const Vector2d& near_px);

/// The same views with each dot moved to where its middle is recorded, by the fit; views of points
/// without extent come back as they are.
[[nodiscard]] std::vector<ChartView> withDotsCentred(const ChartBoard& board,
                                                     const std::vector<ChartView>& views,
                                                     const Sensor& sensor, const ChartFit& fit);

}  // namespace plateloom::calib
