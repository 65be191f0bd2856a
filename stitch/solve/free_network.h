// How well a solved set of rotations is determined, relative to the whole rather than to the one
// plate that was held while solving.
//
// Ties fix directions only up to one common rotation, so the covariance depends on what is held.
// Taking the mean rotation of each connected part as the reference (the S-transformation of Baarda
// 1973, inner constraints) gives every plate the uncertainty that it has after one global
// alignment.
#pragma once

#include <ceres/problem.h>

#include <Eigen/Core>
#include <vector>

namespace plateloom::stitch {

struct FreeNetwork {
    bool determined = false;        ///< false: the normal equations are singular
    std::vector<double> sigma_rad;  ///< one a plate, along its worst axis; infinity where unknown
    std::vector<double> local_sigma_rad;  ///< the same if all other plates and lenses were exact
    std::vector<Eigen::MatrixXd> other_covariance;  ///< one a block, of the terms that vary
};

/// A rotation block is a quaternion with ceres::EigenQuaternionManifold, or null for a plate that
/// is not in the problem; `part` numbers connected parts, -1 for a part with an orientation of its
/// own. The other blocks (lenses) may have terms held by SubsetManifold.
/// Every residual must be in units of its own sigma; the result is not yet scaled by the variance
/// that was found.
[[nodiscard]] FreeNetwork freeNetwork(ceres::Problem& problem,
                                      const std::vector<double*>& rotation_blocks,
                                      const std::vector<int>& part,
                                      const std::vector<double*>& other_blocks);

}  // namespace plateloom::stitch
