// The terms that a bundle adjustment found for the lenses of a group, and a plate's lens with them
// put in.
#pragma once

#include <cmath>

#include "calib/lens.h"
#include "stitch/plates/lens_terms.h"
#include "stitch/plates/plate_set.h"

namespace plateloom::stitch {

using calib::Vector2d;

struct LensCorrection {
    LensTerms term = kLensAsKnown;
    /// Of the terms that were solved, when covariance was asked for.
    Eigen::Matrix<double, kLensTerms, kLensTerms> covariance =
        Eigen::Matrix<double, kLensTerms, kLensTerms>::Zero();

    [[nodiscard]] double sigma(LensTerm one) const { return std::sqrt(covariance(one, one)); }
};

/// A lens with these radial and tangential terms added to its own.
[[nodiscard]] calib::Lens withTermsAdded(const calib::Lens& to, const LensTerms& term,
                                         const calib::Sensor& sensor);

/// The plate's lens with its group's correction put in, as a lens that can travel: D-U terms where
/// the plate had no distortion of its own, else focal length, axis and tangential terms alone.
[[nodiscard]] calib::Lens corrected(const Plate& plate, const LensCorrection& correction,
                                    double breathing = 1);

}  // namespace plateloom::stitch
