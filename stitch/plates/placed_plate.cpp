#include "stitch/plates/placed_plate.h"

#include "calib/pose.h"

namespace plateloom::stitch {

std::vector<PlacedPlate> placedPlates(const std::vector<io::SolvedPlate>& solved) {
    std::vector<PlacedPlate> placed;
    for (size_t i = 0; i < solved.size(); ++i) {
        const auto& plate = solved[i];
        if (!plate.placed) continue;
        placed.push_back({int(i),
                          calib::LensMap(plate.lens, plate.sensor),
                          calib::worldFromCamera(plate.pose),
                          {float(plate.gain[0]), float(plate.gain[1]), float(plate.gain[2])}});
    }
    return placed;
}

}  // namespace plateloom::stitch
