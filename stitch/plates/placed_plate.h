// A plate that has its place: all that exposure, seams and compose need to know about it.
#pragma once

#include <array>
#include <vector>

#include "calib/lens.h"
#include "io/solve_file.h"

namespace plateloom::stitch {

struct PlacedPlate {
    int plate = 0;  ///< index for the PlateStore
    calib::LensMap lens;
    calib::Matrix3d worldFromCamera = calib::Matrix3d::Identity();
    std::array<float, 3> gain{1, 1, 1};  ///< linear factor to the common exposure
};

/// The placed ones of a solve; `plate` is the index among all.
[[nodiscard]] std::vector<PlacedPlate> placedPlates(const std::vector<io::SolvedPlate>& solved);

}  // namespace plateloom::stitch
