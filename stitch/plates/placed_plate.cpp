#include "stitch/plates/placed_plate.h"

#include <cmath>

#include "calib/pose.h"

namespace plateloom::stitch {

calib::Vector3d PlacedPlate::directionFromCamera(const calib::Vector3d& ray) const {
    const calib::Vector3d along = (worldFromCamera * ray).normalized();
    if (!distance) return along;
    // direction = s along + inverse x pupil, of length 1; the inverse distance belongs to the
    // direction that is looked for, and changes slowly with it.
    calib::Vector3d direction = along;
    for (int i = 0; i < 4; ++i) {
        const calib::Vector3d beside = distance->inverseAt_m(direction) * pupil_m;
        const double back = beside.dot(along);
        const double under = back * back + 1 - beside.squaredNorm();
        direction = (std::sqrt(std::max(0.0, under)) - back) * along + beside;
    }
    return direction.normalized();
}

std::vector<PlacedPlate> placedPlates(const std::vector<io::SolvedPlate>& solved) {
    std::vector<PlacedPlate> placed;
    for (size_t i = 0; i < solved.size(); ++i) {
        const auto& plate = solved[i];
        if (!plate.placed) continue;
        placed.push_back({int(i),
                          calib::LensMap(plate.lens, plate.sensor),
                          calib::worldFromCamera(plate.pose),
                          {float(plate.gain[0]), float(plate.gain[1]), float(plate.gain[2])},
                          calib::Vector3d::Zero(),
                          nullptr});
    }
    return placed;
}

}  // namespace plateloom::stitch
