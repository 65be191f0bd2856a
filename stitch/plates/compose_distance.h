// For which distance a panorama is composed. Cameras of an array stand apart, so where a thing
// falls on a plate depends on how far away it is; a panorama is right at one distance in each
// direction, and what lies nearer or farther shifts from plate to plate by its parallax.
//
// Distances travel as their inverses (1 / m): infinity is 0, and parallax is in proportion to it.
// Between directions with a distance of their own (the seams) it passes smoothly from one to the
// next: Shepard's interpolation (A two-dimensional interpolation function for irregularly-spaced
// data, ACM National Conference 1968), on the sphere.
#pragma once

#include <vector>

#include "calib/sensor.h"

namespace plateloom::stitch {

struct ComposeDistance {
    struct At {
        calib::Vector3d direction = calib::Vector3d::UnitY();  ///< world, unit length
        double inverse_m = 0;
    };
    double inverse_m = 0;  ///< where `at` is empty
    std::vector<At> at;

    [[nodiscard]] double inverseAt_m(const calib::Vector3d& direction) const {
        if (at.empty()) return inverse_m;
        // About a quarter of the distance between neighbouring seams of an array: on a seam its own
        // distance holds almost alone.
        constexpr double kReach_rad = 0.1;
        double sum = 0, weights = 0;
        for (const auto& one : at) {
            const double apart2 = (one.direction - direction).squaredNorm();
            const double near2 = apart2 + kReach_rad * kReach_rad;
            const double weight = 1 / (near2 * near2);
            sum += weight * one.inverse_m;
            weights += weight;
        }
        return sum / weights;
    }
};

}  // namespace plateloom::stitch
