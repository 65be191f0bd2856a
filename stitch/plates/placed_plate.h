// A plate that has its place: all that exposure, seams and compose need to know about it.
#pragma once

#include <array>
#include <memory>
#include <vector>

#include "calib/lens.h"
#include "io/solve_file.h"
#include "stitch/plates/compose_distance.h"

namespace plateloom::stitch {

struct PlacedPlate {
    int plate = 0;  ///< index for the PlateStore
    calib::LensMap lens;
    calib::Matrix3d worldFromCamera = calib::Matrix3d::Identity();
    std::array<float, 3> gain{1, 1, 1};  ///< linear factor to the common exposure
    /// Where the entrance pupil stands, metres in the world, against the panorama's own centre. It
    /// counts for things at a distance: without `distance` all that is seen is infinitely far.
    calib::Vector3d pupil_m = calib::Vector3d::Zero();
    std::shared_ptr<const ComposeDistance> distance = nullptr;

    /// The camera's ray (any length) toward what the panorama shows in a direction (unit length):
    /// the thing stands at direction / inverse distance, and the pupil beside the centre.
    [[nodiscard]] calib::Vector3d cameraFromDirection(const calib::Vector3d& direction) const {
        if (!distance) return worldFromCamera.transpose() * direction;
        return worldFromCamera.transpose() *
               (direction - distance->inverseAt_m(direction) * pupil_m);
    }
    /// The inverse, unit length.
    [[nodiscard]] calib::Vector3d directionFromCamera(const calib::Vector3d& ray) const;
};

/// The placed ones of a solve; `plate` is the index among all.
[[nodiscard]] std::vector<PlacedPlate> placedPlates(const std::vector<io::SolvedPlate>& solved);

}  // namespace plateloom::stitch
