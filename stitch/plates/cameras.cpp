#include "stitch/plates/cameras.h"

#include <algorithm>
#include <cmath>

#include "stitch/plates/lens_groups.h"

namespace plateloom::stitch {

Cameras startingCameras(const std::vector<Plate>& plates) {
    constexpr double kFullFrame_mm = 36.0, kGuess_deg = 60.0;
    Cameras cameras;
    cameras.plates = plates;
    cameras.worldFromCamera.resize(plates.size());
    cameras.breathing.assign(plates.size(), 1);
    cameras.part.assign(plates.size(), -1);
    int groups = 1;
    for (auto& plate : cameras.plates) {
        groups = std::max(groups, plate.lens_group + 1);
        auto& sensor = plate.sensor;
        if (!(sensor.width_mm > 0)) sensor.width_mm = kFullFrame_mm;
        if (!(sensor.height_mm > 0)) sensor.height_mm = sensor.height_px * sensor.mmPerPixelX();
        if (!(plate.lens.focal_mm > 0)) {
            plate.lens.focal_mm = 0.5 * sensor.width_mm / std::tan(0.5 * kGuess_deg / 57.29578);
            plate.focal_sigma = std::max(plate.focal_sigma, 0.5);
        }
        if (!plate.distortion_known) {
            plate.lens.distortion = {};
            plate.lens.distortion_offset_mm.setZero();
        }
    }
    cameras.correction.resize(groups);
    return cameras;
}

std::vector<calib::LensMap> lensMaps(const Cameras& cameras) {
    std::vector<calib::LensMap> maps;
    maps.reserve(cameras.plates.size());
    for (int p = 0; p < cameras.size(); ++p)
        maps.emplace_back(cameras.lens(p), cameras.plates[p].sensor);
    return maps;
}

std::vector<std::optional<Matrix3d>> posesOf(const Cameras& cameras) {
    std::vector<std::optional<Matrix3d>> poses;
    for (const auto& plate : cameras.plates)
        poses.push_back(plate.pose ? std::optional(calib::worldFromCamera(*plate.pose))
                                   : std::nullopt);
    return poses;
}

bool lensIsKnown(const Plate& plate) {
    return plate.distortion_known && focalIsMeasured(plate);
}

bool allLensesKnown(const Cameras& cameras) {
    return std::all_of(cameras.plates.begin(), cameras.plates.end(), lensIsKnown);
}

bool focalIsUnknown(const Plate& plate) {
    return plate.focal_sigma >= 0.3;
}

double detectorPixel(const Plate& plate) {
    constexpr double kDetectorEdge_px = 1024;
    return std::max(1.0,
                    std::max(plate.sensor.width_px, plate.sensor.height_px) / kDetectorEdge_px);
}

}  // namespace plateloom::stitch
