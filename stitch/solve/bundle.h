// Bundle adjustment: all rotations and, where they are not known, focal length and first radial
// terms (shared by the plates of a lens group), so that tie points agree on the sphere. Ceres,
// exact derivatives, robust loss.
//
// What of a lens may be solved: stitch/plates/lens_terms.h. Each plate's own focal length may
// differ a little from its group's: lenses breathe with focus, and a hand that steps forward does
// nearly the same to what is far.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calib/lens.h"
#include "stitch/plates/lens_correction.h"
#include "stitch/plates/plate_set.h"
#include "stitch/ties/tie_points.h"

namespace plateloom::stitch {

struct BundleSettings {
    bool solve_focal = true;  ///< with each group's focal_sigma as its prior
    int radial_terms = 0;     ///< 0 to 3, for groups whose distortion is not known
    bool solve_axis = false;  ///< the optical axis and tangential terms, for the same groups
    /// > 0: one-sigma share by which a plate's focal length may differ from its group's, likewise;
    /// distortion goes with it.
    double breathing_sigma = 0;
    /// Lenses from a table may have been focused not quite where the ring was read: within 4 % of 1
    /// / distance.
    bool refocus = false;
    /// Lenses from a table: the optical axis, the tangential and the radial terms, as far as the
    /// table is unsure of them; for all plates of a group alike.
    bool solve_table_geometry = false;
    double loss_px = 1.0;       ///< scale of the robust loss, plate pixels
    double outlier_px = 3.0;    ///< ties beyond this after a round are removed; <= 0 keeps all
    double pose_sigma_deg = 0;  ///< > 0: poses of the plates as priors
    bool covariance = false;
    /// Stop when a step lowers the cost by a smaller share than this. The default is exact to far
    /// below what ties can tell; rounds that are followed by better ties may stop sooner.
    double least_gain = 1e-10;
};

struct BundleResult {
    bool usable = false;
    std::string why;  ///< the solver's reason, for the log
    std::vector<std::optional<Matrix3d>> worldFromCamera;
    std::vector<LensCorrection> correction;  ///< one a lens group
    std::vector<double> breathing;           ///< one a plate: its focal length over its group's
    std::vector<char> inlier;                ///< one a tie
    std::vector<double> residual_px;         ///< one a tie, length, pixels of plate b
    /// One a plate, along its worst axis, when covariance was asked for: against the mean of its
    /// part, and as it would be if all other plates were exact (how well its own ties hold it).
    std::vector<double> sigma_deg, local_sigma_deg;
    double rms_px = 0;
};

[[nodiscard]] BundleResult bundleAdjust(const std::vector<Plate>& plates,
                                        const std::vector<Tie>& ties,
                                        const std::vector<std::optional<Matrix3d>>& start,
                                        const std::vector<LensCorrection>& start_correction,
                                        const BundleSettings& settings);

}  // namespace plateloom::stitch
