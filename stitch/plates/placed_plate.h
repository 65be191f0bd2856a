// A plate that has its place: all that exposure, seams and compose need to know about it.
#pragma once

#include <array>

#include "calib/lens.h"

namespace plateloom::stitch {

struct PlacedPlate {
    int plate = 0;  ///< index for the PlateStore
    calib::LensMap lens;
    calib::Matrix3d worldFromCamera = calib::Matrix3d::Identity();
    std::array<float, 3> gain{1, 1, 1};  ///< linear factor to the common exposure
};

}  // namespace plateloom::stitch
